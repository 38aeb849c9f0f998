"""bench_size, streams that nobody has looked at: nothing may be fitted to the days measured above.

A log the other way round (tables from its last two thirds, the first third measured), stations
apart (tables from every other station, the rest measured), new seasons of the demonstration, of
seeds that no table, default or test has seen, with tables from the log that is shipped, and strikes
of wildlife on aircraft, real and without bursts, which have sightings but no hours to sum up.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from random import Random

import make_demo
from size_sightings import TIME_BITS, codec_of, elements_of, filled, trained
from size_streams import LEARNED_THIRDS, Stream, strikes_stream
from size_summaries import encoded, modelled, work_of
from size_summary_peers import plain_of

from packcodec.monitor.inputs import Detection

BODY, HOURS, DAY_MIN = 51, 16, 1440
FRESH_SEEDS = (1, 2)


def held_out(logs: list[Stream], demo: Stream) -> None:
    """A line a stream: sightings in 51 bytes, summaries at 16 hours a frame, and daily."""
    print(f"\nheld out: sightings in {BODY} bytes and × UPER plain; {HOURS} h a frame and a day in")
    print("one, of UPER plain")
    streams = [each for log in logs for each in (_other_way_round(log), _stations_apart(log))]
    for stream in (*streams, *_fresh(demo)):
        ratios = [
            modelled(work, most).bits / encoded(work, most, plain_of(work.codec.schema)).bits
            for most, work in (
                (HOURS, work_of(stream, health=True)),
                (1, work_of(stream, health=True, interval_min=DAY_MIN)),
            )
        ]
        print(_sightings(stream) + "".join(f"  {ratio:.3f}" for ratio in ratios))
    strikes = strikes_stream()
    if strikes is not None:
        print(_sightings(strikes))


def _sightings(stream: Stream) -> str:
    elements = elements_of(stream.measured)
    ours = filled(trained(stream), elements, BODY).each
    uper = filled(codec_of(stream, "fixed", 1 << TIME_BITS, 100), elements, BODY).each
    return f"  {stream.name:32} {ours:6.2f}  × {ours / uper:.2f}"


def _other_way_round(log: Stream) -> Stream:
    every = sorted((*log.learned, *log.measured), key=lambda each: each.at)
    days = sorted({each.at.date() for each in every})
    first = days[len(days) - LEARNED_THIRDS * len(days) // 3]
    return replace(
        log,
        name=f"{log.name}, other way round",
        learned=tuple(each for each in every if each.at.date() >= first),
        measured=tuple(each for each in every if each.at.date() < first),
    )


def _stations_apart(log: Stream) -> Stream:
    return replace(
        log,
        name=f"{log.name}, stations apart",
        learned=tuple(each for each in log.learned if each.station % 2),
        measured=tuple(each for each in log.measured if not each.station % 2),
    )


def _fresh(demo: Stream) -> Iterator[Stream]:
    """Another season of the same reserve and stations, by the demonstration's own maker."""
    for seed in FRESH_SEEDS:
        found = []
        for number, station in enumerate(make_demo.STATIONS, start=1):
            rng = Random(f"fresh {seed} {station}")
            log = make_demo.sound_log(rng, station, make_demo.watch_of(rng, station))
            found += [
                Detection(
                    number,
                    make_demo.START + timedelta(seconds=row.at),
                    row.label,
                    row.confidence,
                    row.individuals,
                )
                for row in log
                if row.label in demo.labels
            ]
        found.sort(key=lambda each: each.at)
        every = tuple(sorted((*demo.learned, *demo.measured), key=lambda each: each.at))
        yield replace(demo, name=f"fresh season {seed}", learned=every, measured=tuple(found))
