# A monitor on the invented demo log: python monitor_script.py SERIAL_LINE STORE
import csv, os, sys
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from packcodec.edge.ports import SerialPort
from packcodec.edge.station import Station

demo, rtc = files("packcodec.edge") / "demo_data", sys.argv[2] + ".rtc"
with (demo / "detections.csv").open(encoding="utf-8") as log:
    rows = [row for row in csv.DictReader(log) if row["station"] == "reed_bed"][:150]
now = datetime.fromisoformat(rows[0]["time"])  # the log's time stands for the clock; the date of
if os.path.exists(rtc):  # a file stands for the battery that keeps it through a power cut
    now = max(now, datetime.fromtimestamp(os.path.getmtime(rtc), UTC))
station = Station(
    demo / "schema.toml", "lora-eu-868.1", store=sys.argv[2], station="reed_bed",
    clocks=lambda: (now, now.timestamp()))
radio, done = SerialPort(sys.argv[1]), station.mark or 0
for number, row in enumerate(rows[done:], done + 1):
    while now < datetime.fromisoformat(row["time"]):
        now = min(now + timedelta(minutes=5), datetime.fromisoformat(row["time"]))
        os.close(os.open(rtc, os.O_CREAT)), os.utime(rtc, (now.timestamp(), now.timestamp()))
        station.tick(radio=radio)
    station.seen(row["label"], now, float(row["confidence"]), int(row["individuals"]), mark=number)
station.close()
