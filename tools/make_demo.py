"""Make the invented demonstration data in packcodec/edge/demo_data/.

    python tools/make_demo.py

Everything the files tell is invented: the Sedgemere wetland reserve, its four stations (north_hide,
reed_bed, sluice, alder_carr), the three weeks 2027-04-01 to 2027-04-21, every detection, every
visit of a person, every voltage, and how often a species is seen. Only the species are facts: their
scientific names, authorities and ranks in species.csv (from memory, a few checked against
published checklists).

Written: detections.csv, watch.csv, health.csv and README.txt, which states the oddities of the log
with their counts. Read: species.csv, which is kept by hand beside schema.toml.

The same bytes come out on every machine. Only `Random.random()` is drawn from, the one method whose
sequence Python promises to keep, and only + - * / and comparisons work on what it gives, which
IEEE 754 rounds alike everywhere.
"""

import csv
from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

FOLDER = Path(__file__).resolve().parent.parent / "packcodec" / "edge" / "demo_data"
SEED = 20270401

START = datetime(2027, 4, 1, tzinfo=UTC)
DAYS = 21
STATIONS = ("north_hide", "reed_bed", "sluice", "alder_carr")
IMAGE_PREFIX = {"north_hide": "n", "reed_bed": "r", "sluice": "s", "alder_carr": "a"}

# A light switch gives a station power from about half an hour before sunrise to half an hour after
# sunset; near 52° N in April either end moves by two minutes a day (a plain line, no astronomy).
POWER_ON_S = 5 * 3600 + 5 * 60
POWER_OFF_S = 19 * 3600 + 5 * 60
DAYLIGHT_S_A_DAY = 120

QUIET_DAYS = (8, 14)  # storms, the whole reserve
EMPTY_DAY = ("north_hide", 15)
BUSY_MORNING = ("north_hide", 16)  # a fall of migrants: more species in an hour than a list holds

CUT_DAY = 12  # sluice loses power for some hours
CUT_FROM_S, CUT_TO_S = 9 * 3600 + 41 * 60 + 17, 13 * 3600 + 27 * 60 + 52

CLOCK_LOST_DAY, CLOCK_SET_DAY = 10, 13  # alder_carr boots at 2000-01-01
CLOCK_SET_S = 10 * 3600 + 12 * 60
WRONG_EPOCH = datetime(2000, 1, 1, tzinfo=UTC)

LATE_DAY, LATE_ROWS = ("reed_bed", 5), 24
DUPLICATES = (("north_hide", 7), ("reed_bed", 4), ("sluice", 3))
UNKNOWN_LABELS = (
    ("coypu", "sluice", 4),
    ("raccoon_dog", "alder_carr", 3),
    ("egret", "reed_bed", 2),
)
BAD_TIMES = ("2027-04-06T25:61:00Z", "2027-04-19T14:03:22")  # no such hour; no offset

CONFIDENCE_LEAST = 0.5
TRIALS = 12


@dataclass(frozen=True, slots=True)
class Habit:
    """How one label turns up: visits a day at each station, and the shape of a visit.

    `dawn` and `dusk` are the shares of visits near either end of the day, the rest is spread over
    it. `group` and `pictures` are mean values; `gap_s` is the longest pause between two pictures.
    """

    label: str
    visits: tuple[float, float, float, float]
    dawn: float = 0.35
    dusk: float = 0.30
    group: float = 1.0
    pictures: float = 3.0
    gap_s: int = 90
    from_day: int = 0


HABITS = (
    Habit("bittern", (0.1, 0.6, 0.0, 0.0), 0.55, 0.40, pictures=4),
    Habit("grey_heron", (1.1, 1.0, 1.4, 0.3), pictures=5, gap_s=420),
    Habit("great_egret", (0.6, 0.6, 0.5, 0.0), pictures=4, gap_s=300),
    Habit("little_egret", (0.7, 0.4, 0.9, 0.0), group=1.6, pictures=4, gap_s=240),
    Habit("common_crane", (0.35, 0.15, 0.0, 0.0), 0.50, 0.35, group=4.0, pictures=5, gap_s=200),
    Habit("white_tailed_eagle", (0.12, 0.05, 0.0, 0.0), 0.15, 0.10, pictures=2),
    Habit("marsh_harrier", (0.5, 1.1, 0.1, 0.0), 0.10, 0.15, pictures=2),
    Habit("mute_swan", (1.2, 0.4, 1.1, 0.0), 0.20, 0.20, group=2.0, pictures=6, gap_s=900),
    Habit("greylag_goose", (1.4, 0.5, 0.4, 0.0), 0.45, 0.40, group=9.0, pictures=7, gap_s=600),
    Habit("mallard", (2.4, 1.2, 2.6, 0.7), group=3.0, pictures=5, gap_s=500),
    Habit("gadwall", (1.5, 0.3, 0.5, 0.0), group=2.6, pictures=4, gap_s=400),
    Habit("teal", (1.6, 0.5, 0.3, 0.0), group=6.0, pictures=4, gap_s=400),
    Habit("shoveler", (1.2, 0.1, 0.2, 0.0), group=3.0, pictures=4, gap_s=400),
    Habit("tufted_duck", (0.8, 0.0, 0.6, 0.0), 0.20, 0.20, group=3.5, pictures=4, gap_s=400),
    Habit("great_crested_grebe", (0.7, 0.1, 0.5, 0.0), group=1.6, pictures=3, gap_s=300),
    Habit("little_grebe", (0.5, 0.3, 0.5, 0.0), group=1.3, pictures=3),
    Habit("cormorant", (0.8, 0.0, 0.9, 0.0), 0.20, 0.20, group=1.5, pictures=4, gap_s=600),
    Habit("coot", (2.2, 1.0, 1.8, 0.0), 0.25, 0.25, group=2.5, pictures=6, gap_s=700),
    Habit("moorhen", (0.6, 1.6, 1.5, 0.5), group=1.4, pictures=4),
    Habit("water_rail", (0.0, 1.2, 0.1, 0.3), 0.50, 0.40, pictures=3),
    Habit("spotted_crake", (0.0, 0.09, 0.0, 0.0), 0.50, 0.50, pictures=2),
    Habit("lapwing", (1.3, 0.1, 0.0, 0.0), group=5.0, pictures=4, gap_s=300),
    Habit("snipe", (0.6, 0.5, 0.1, 0.1), 0.50, 0.40, group=1.8, pictures=3),
    Habit("kingfisher", (0.2, 0.4, 1.9, 0.1), 0.20, 0.15, pictures=2),
    Habit("otter", (0.05, 0.1, 0.3, 0.1), 0.60, 0.38, group=1.3, pictures=5),
    Habit("beaver", (0.0, 0.05, 0.25, 0.45), 0.50, 0.50, group=1.3, pictures=6, gap_s=240),
    Habit("water_vole", (0.0, 0.8, 0.6, 0.1), 0.30, 0.30, pictures=3),
    Habit("american_mink", (0.0, 0.06, 0.15, 0.1), 0.45, 0.35, pictures=3),
    Habit("red_fox", (0.2, 0.2, 0.3, 1.0), 0.50, 0.45, pictures=3),
    Habit("roe_deer", (0.2, 0.2, 0.3, 2.1), 0.45, 0.45, group=1.8, pictures=7, gap_s=420),
    Habit("wild_boar", (0.0, 0.2, 0.1, 1.1), 0.48, 0.48, group=4.0, pictures=8, gap_s=200),
    Habit("spoonbill", (0.7, 0.0, 0.1, 0.0), 0.20, 0.30, group=1.8, pictures=4, from_day=11),
    Habit("bird", (0.6, 0.7, 0.4, 0.9), pictures=1.5),
    Habit("unknown", (0.5, 0.7, 0.4, 0.8), pictures=1.3),
    Habit("unclassified", (0.05, 0.05, 0.05, 0.05), 0.0, 0.0, pictures=1.0),
    Habit("human", (0.3, 0.05, 0.9, 0.15), 0.05, 0.05, group=1.4, pictures=3),
    Habit("vehicle", (0.0, 0.0, 0.5, 0.0), 0.05, 0.05, pictures=2),
    Habit("blank", (1.2, 2.4, 1.5, 1.3), 0.10, 0.10, pictures=1.6, gap_s=40),
)
FALSE_POSITIVES_A_DAY = (2.6, 4.5, 2.2, 3.1)  # wind in the reeds, light on water, moving branches
NOT_ANIMALS = ("unknown", "unclassified", "human", "vehicle", "blank")
FALSE_LABELS = ("bittern", "water_rail", "grey_heron", "otter", "roe_deer", "moorhen", "red_fox")


@dataclass(frozen=True, slots=True)
class Detection:
    """One row of the log, `at` in true seconds since START; `text` replaces the time when set."""

    at: int
    station: str
    label: str
    confidence: float
    individuals: int
    image: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch in which a station really watched, in true seconds since START."""

    station: str
    day: int
    start: int
    end: int


def around(rng: Random, middle: float, half_width: float) -> float:
    """Draw near `middle`, bell-shaped, never further off than `half_width`."""
    return middle + (rng.random() + rng.random() + rng.random() - 1.5) / 1.5 * half_width


def occurrences(rng: Random, rate: float) -> int:
    """Draw how often something of this mean (at most TRIALS) happens."""
    return sum(rng.random() < rate / TRIALS for _ in range(TRIALS))


def at_least_one(rng: Random, mean: float, most: int) -> int:
    """Draw a whole number 1..most with a long tail; `mean` holds when `most` is far off."""
    number = 1
    while number < most and rng.random() < 1 - 1 / mean:
        number += 1
    return number


def watch_of(rng: Random, station: str) -> list[Stretch]:
    """Give the stretches in which one station really watched."""
    stretches = []
    for day in range(DAYS):
        on = int(around(rng, POWER_ON_S - day * DAYLIGHT_S_A_DAY, 240)) + day * 86400
        off = int(around(rng, POWER_OFF_S + day * DAYLIGHT_S_A_DAY, 240)) + day * 86400
        parts = [(on, off)]
        if (station, day) == ("sluice", CUT_DAY):
            parts = [(on, day * 86400 + CUT_FROM_S), (day * 86400 + CUT_TO_S, off)]
        if (station, day) == ("alder_carr", CLOCK_SET_DAY):
            parts = [(on, day * 86400 + CLOCK_SET_S), (day * 86400 + CLOCK_SET_S, off)]
        stretches += [Stretch(station, day, start, end) for start, end in parts]
    return stretches


def visit_start(rng: Random, habit: Habit, on: int, off: int) -> float:
    """Draw when a visit begins: near dawn, near dusk or anywhere in the day."""
    where = rng.random()
    if where < habit.dawn:
        return around(rng, on + 4200, 4200)
    if where < habit.dawn + habit.dusk:
        return around(rng, off - 4800, 4800)
    return on + rng.random() * (off - on)


def visit(rng: Random, habit: Habit, station: str, begin: float) -> list[Detection]:
    """Make one visit: a burst of pictures of one group, never more in one than the group."""
    group = at_least_one(rng, habit.group, 40)
    surety = 0.62 + 0.36 * rng.random()
    rows, now = [], begin
    for _ in range(at_least_one(rng, habit.pictures, 30)):
        seen = group - int(rng.random() * rng.random() * group)
        confidence = min(0.99, max(CONFIDENCE_LEAST, around(rng, surety, 0.15)))
        rows.append(Detection(int(now), station, habit.label, confidence, seen))
        now += 2 + rng.random() * rng.random() * habit.gap_s
    return rows


def false_positives(rng: Random, station: str, on: int, off: int) -> list[Detection]:
    """Make the day's detections of nothing, all below the confidence threshold."""
    return [
        Detection(
            int(on + rng.random() * (off - on)),
            station,
            FALSE_LABELS[int(rng.random() * len(FALSE_LABELS))],
            0.15 + 0.34 * rng.random(),
            1,
        )
        for _ in range(occurrences(rng, FALSE_POSITIVES_A_DAY[STATIONS.index(station)]))
    ]


def day_of(rng: Random, station: str, day: int, on: int, off: int) -> list[Detection]:
    """Make one day of one station, as if it watched without a break."""
    if (station, day) == EMPTY_DAY:
        return []
    liveliness = 0.12 if day in QUIET_DAYS else 0.6 + 0.8 * rng.random()
    rows = false_positives(rng, station, on, off)
    for habit in HABITS:
        if day < habit.from_day:
            continue
        rate = habit.visits[STATIONS.index(station)] * liveliness
        for _ in range(occurrences(rng, rate)):
            rows += visit(rng, habit, station, visit_start(rng, habit, on, off))
        if (station, day) == BUSY_MORNING and rate > 0.6:
            rows += visit(rng, habit, station, day * 86400 + 6 * 3600 + rng.random() * 2400)
    return rows


def number_images(rows: list[Detection]) -> list[Detection]:
    """Name each row's picture, counted in the order the station took them."""
    return [
        replace(row, image=f"{IMAGE_PREFIX[row.station]}{number:05d}.jpg")
        for number, row in enumerate(rows, start=1)
    ]


def sound_log(rng: Random, station: str, watch: list[Stretch]) -> list[Detection]:
    """Make one station's log without a flaw but what it really saw, in order of time."""
    rows: list[Detection] = []
    for day in range(DAYS):
        parts = [stretch for stretch in watch if stretch.day == day]
        made = day_of(rng, station, day, parts[0].start, parts[-1].end)
        rows += [row for row in made if any(p.start <= row.at < p.end for p in parts)]
    for label, place, count in UNKNOWN_LABELS:
        rows += [
            Detection(_instant_in(rng, watch), station, label, 0.6 + 0.3 * rng.random(), 1)
            for _ in range(count if place == station else 0)
        ]
    return number_images(sorted(rows, key=lambda row: (row.at, row.label)))


def _instant_in(rng: Random, watch: list[Stretch]) -> int:
    """Draw an instant in the first or the last days, where no other oddity lies."""
    plain = [s for s in watch if s.day in (1, 2, 3, 17, 18, 19)]
    stretch = plain[int(rng.random() * len(plain))]
    return stretch.start + int(rng.random() * (stretch.end - stretch.start))


def flaw(rng: Random, station: str, rows: list[Detection]) -> list[Detection]:
    """Put one station's flaws into its log: a block written late, rows twice, bad times."""
    flawed = list(rows)
    if station == LATE_DAY[0]:
        first = next(i for i, row in enumerate(rows) if row.at // 86400 == LATE_DAY[1]) + 20
        block = slice(first, first + 2 * LATE_ROWS)
        late_first = rows[first + LATE_ROWS : block.stop] + rows[first : first + LATE_ROWS]
        flawed[block] = late_first
    for _ in range(dict(DUPLICATES).get(station, 0)):
        place = len(flawed) * 3 // 4 + int(rng.random() * len(flawed) / 8)
        flawed.insert(place, flawed[place])
    if station == "north_hide":
        for text in BAD_TIMES:
            day = int(text[8:10]) - START.day
            place = next(i for i, row in enumerate(flawed) if row.at // 86400 == day) + 9
            flawed[place] = replace(flawed[place], text=text)
    return flawed


class Clock:
    """What a station's clock says at a true time; only alder_carr's is ever wrong."""

    def __init__(self, watch: list[Stretch]) -> None:
        boots = [s.start for s in watch if s.station == "alder_carr" and s.day == CLOCK_LOST_DAY]
        self.lost = boots[0]
        self.set = CLOCK_SET_DAY * 86400 + CLOCK_SET_S

    def unset(self, station: str, at: int) -> bool:
        return station == "alder_carr" and self.lost <= at < self.set

    def says(self, station: str, at: int) -> str:
        if self.unset(station, at):
            return instant(WRONG_EPOCH + timedelta(seconds=at - self.lost))
        return instant(START + timedelta(seconds=at))

    def says_end(self, station: str, stretch: Stretch) -> str:
        """Give the end of a stretch by the clock it began with."""
        length = timedelta(seconds=stretch.end - stretch.start)
        return instant(datetime.fromisoformat(self.says(station, stretch.start)) + length)


def instant(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def detections_csv(rows: list[Detection], clock: Clock) -> list[str]:
    lines = ["time,station,label,confidence,individuals,image"]
    for row in rows:
        time = row.text or clock.says(row.station, row.at)
        lines.append(
            f"{time},{row.station},{row.label},{row.confidence:.2f},{row.individuals},{row.image}"
        )
    return lines


def watch_csv(watch: list[Stretch], clock: Clock) -> list[str]:
    lines = ["station,start,end,clock"]
    for stretch in watch:
        start = clock.says(stretch.station, stretch.start)
        end = clock.says_end(stretch.station, stretch)
        state = "unset" if clock.unset(stretch.station, stretch.start) else "trusted"
        lines.append(f"{stretch.station},{start},{end},{state}")
    return lines


def health_csv(rng: Random, watch: list[Stretch], clock: Clock) -> list[str]:
    """Write one row a day a station, a minute before its power goes off."""
    lines = [
        "time,station,battery_mv,temperature_c,storage_percent,restarts,"
        "power,clock,humidity_percent,failed_captures"
    ]
    for number, station in enumerate(STATIONS):
        charge = 4120.0
        for day in range(DAYS):
            at = max(s.end for s in watch if (s.station, s.day) == (station, day)) - 60
            solar = number < 2 and day not in QUIET_DAYS
            charge = min(4160.0, charge + (around(rng, 8, 20) if solar else around(rng, -26, 12)))
            if (station, day) == ("alder_carr", CLOCK_LOST_DAY):
                charge = 4110.0  # a fresh battery; the change stopped the clock
            restarted = {"sluice": CUT_DAY, "alder_carr": CLOCK_LOST_DAY}.get(station, DAYS)
            failed = int(rng.random() * rng.random() * 4)
            values = (
                clock.says(station, at),
                station,
                int(charge),
                int(around(rng, 11 + day / 5, 9)) - (4 if day in QUIET_DAYS else 0),
                97 - 3 * day - int(rng.random() * 2),
                int(day >= restarted),
                "solar" if solar else "battery",
                "unset" if clock.unset(station, at) else "trusted",
                int(around(rng, 55 + number * 5, 20)) if number % 2 else "",
                failed or "",
            )
            lines.append(",".join(str(value) for value in values))
    return lines


def oddities(rows: list[Detection], watch: list[Stretch], clock: Clock) -> dict[str, str]:
    """Count what is odd in the log, by its rows."""
    labels = Counter(row.label for row in rows)
    strange = [label for label, _, _ in UNKNOWN_LABELS]
    unset = [row for row in rows if clock.unset(row.station, row.at)]
    hours: dict[tuple[str, int], set[str]] = {}
    for row in rows:
        if row.confidence >= CONFIDENCE_LEAST and row.label not in (*NOT_ANIMALS, *strange):
            hours.setdefault((row.station, row.at // 3600), set()).add(row.label)
    (busy_station, busy_hour), seen = max(hours.items(), key=lambda item: len(item[1]))
    busy = instant(START + timedelta(hours=busy_hour))
    cut_minutes = (CUT_TO_S - CUT_FROM_S) // 60
    return {
        "rows in all": str(len(rows)),
        "rows by station": ", ".join(
            f"{name} {count}" for name, count in Counter(row.station for row in rows).items()
        ),
        "rows written twice, one after the other": str(sum(count for _, count in DUPLICATES)),
        "rows written late, after rows of a later time": f"{LATE_ROWS} ({LATE_DAY[0]}, "
        f"{instant(START + timedelta(days=LATE_DAY[1]))[:10]})",
        "rows with a label that the species code table lacks": f"{sum(labels[s] for s in strange)} "
        f"({', '.join(f'{s} {labels[s]}' for s in strange)})",
        "rows whose time is no RFC 3339 time": f"{len(BAD_TIMES)} ({', '.join(BAD_TIMES)})",
        f"rows below a confidence of {CONFIDENCE_LEAST}": str(
            sum(f"{row.confidence:.2f}" < f"{CONFIDENCE_LEAST:.2f}" for row in rows)
        ),
        "rows of people and vehicles": f"{labels['human']} and {labels['vehicle']}",
        "rows labelled blank, unknown, unclassified": f"{labels['blank']}, {labels['unknown']}, "
        f"{labels['unclassified']}",
        "rows timed by an unset clock (2000-01-01 on)": f"{len(unset)} (alder_carr; its "
        f"2000-01-01T00:00:00Z was {instant(START + timedelta(seconds=clock.lost))}, set right at "
        f"{instant(START + timedelta(seconds=clock.set))})",
        "hours without power": f"{cut_minutes // 60} h {cut_minutes % 60:02d} min (sluice, from "
        f"{instant(START + timedelta(days=CUT_DAY, seconds=CUT_FROM_S))}), then a restart",
        "day watched without a single row": f"{EMPTY_DAY[0]}, "
        f"{instant(START + timedelta(days=EMPTY_DAY[1]))[:10]}",
        "quiet days, all stations": ", ".join(
            instant(START + timedelta(days=day))[:10] for day in QUIET_DAYS
        ),
        "most known labels of animals in one hour": f"{len(seen)} ({busy_station}, {busy})",
        "stretches watched": str(len(watch)),
    }


README = """\
The Sedgemere demonstration
===========================

ALL OF THIS IS INVENTED. There is no Sedgemere wetland reserve, no such stations, and nothing here
was recorded by anyone. The species are real: the scientific names, authorities and ranks in
species.csv are facts (from memory, a few checked). How often a species turns up, and where, is
made up, and so is which species is sensitive; neither is advice. Names of real places, persons or
makers do not occur.

Four stations watch by day for three weeks, 2027-04-01 to 2027-04-21, all times UTC. A light switch
gives a station power from about half an hour before sunrise to half an hour after sunset.

schema.toml      what the stations send: sighting, summary, health
species.csv      the species code table
detections.csv   the detection log: station after station, each in the order it wrote its rows
watch.csv        the stretches in which a station was really watching; clock is "trusted", or
                 "unset" where start and end are what a wrong clock said
health.csv       one row a day and station, written a minute before its power goes off;
                 restarts counts from the day the station was set out; humidity_percent is empty
                 where no sensor is fitted, failed_captures where there were none
deployments.csv  where each station stood, how high and facing where: all invented, and the places
                 lie in the open sea
project.toml     who publishes what, under which licence: nobody, for there is nothing to publish
README.txt       this page

packcodec demo adds what each of its steps made:

records.jsonl    the log summed up; frames.hex the frames; decoded.jsonl what they say
schema_modelled.toml
                 with --coding modelled, what the frames are made by
schema_air.toml  schema.toml with repair symbols in its summaries
base.db          what two invented bases heard of stations that send by schema_air.toml
report.html, camtrap-dp/, darwin-core.zip
                 the season for others, from decoded.jsonl

The battery of alder_carr was changed on 2027-04-11, before it woke. The cell that should have kept
its clock meanwhile was flat, so it woke at 2000-01-01T00:00:00Z and counted on from there until
somebody set it right. Its rows carry what the clock said; the records made of them carry no time
(at and start are optional in schema.toml) and the flag clock_unset.

Odd on purpose, in detections.csv and watch.csv
-----------------------------------------------
{oddities}

Made by tools/make_demo.py in the source repository (seed {seed}), the same bytes on every machine.
"""


def readme(odd: dict[str, str]) -> list[str]:
    items = "\n".join(f"- {name}: {value}" for name, value in odd.items())
    return README.format(oddities=items, seed=SEED).splitlines()


def check_labels(species_csv: str) -> None:
    """Refuse to run when a habit names a label that species.csv does not hold as active."""
    table = csv.DictReader(species_csv.splitlines())
    active = {row["label"] for row in table if row["status"] == "active"}
    missing = sorted(({habit.label for habit in HABITS} | set(FALSE_LABELS)) - active)
    known = sorted({label for label, _, _ in UNKNOWN_LABELS} & active)
    if missing or known:
        raise SystemExit(f"species.csv lacks {missing}, and should not hold {known}")


def make(species_csv: str) -> tuple[dict[str, bytes], dict[str, str]]:
    """Make the files, name to bytes, and the oddities with their counts."""
    check_labels(species_csv)
    streams = {station: Random(SEED + number) for number, station in enumerate(STATIONS, start=1)}
    by_station = {station: watch_of(streams[station], station) for station in STATIONS}
    watch = [stretch for stretches in by_station.values() for stretch in stretches]
    rows: list[Detection] = []
    for station, rng in streams.items():
        rows += flaw(rng, station, sound_log(rng, station, by_station[station]))
    clock = Clock(watch)
    odd = oddities(rows, watch, clock)
    texts = {
        "detections.csv": detections_csv(rows, clock),
        "watch.csv": watch_csv(watch, clock),
        "health.csv": health_csv(Random(SEED), watch, clock),
        "README.txt": readme(odd),
    }
    return {name: ("\n".join(lines) + "\n").encode() for name, lines in texts.items()}, odd


def main() -> None:
    files, odd = make((FOLDER / "species.csv").read_text(encoding="utf-8"))
    for name, content in files.items():
        (FOLDER / name).write_bytes(content)
        print(f"{name}: {len(content)} bytes, {len(content.splitlines())} lines")
    for item, value in odd.items():
        print(f"{item}: {value}")


if __name__ == "__main__":
    main()
