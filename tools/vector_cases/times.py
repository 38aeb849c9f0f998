"""Times."""

from packcodec.codec import PartialTime
from vector_cases.case import Case, Fault, Refusal, VectorFile, bits, message, schema

DAY_S = 86400
TIMES = VectorFile(
    "times",
    "Times: steps are rounded down; modulo a span, with and without the time of reception; whole.",
    schema(
        "times",
        message(
            'name = "at", kind = "time", step_s = 60, span_s = 86400, beyond = "wrap"',
            'name = "five", kind = "time", step_s = 7, span_s = 35, beyond = "wrap"',
            'name = "season", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject"',
        ),
    ),
    tuple(
        Case(about, {"at": at, "five": five, "season": season}, received=received)
        for about, at, five, season, received in (
            (
                "the epoch",
                "2027-04-01T00:00:00Z",
                "2027-04-01T00:00:00Z",
                "2027-04-01T00:00:00Z",
                "",
            ),
            (
                "rounded down to a step",
                "2027-04-01T06:30:59Z",
                "2027-04-01T00:00:13.999Z",
                "2027-06-09T05:59:59Z",
                "",
            ),
            (
                "the last step of each span",
                "2027-04-01T23:59:59Z",
                "2027-04-01T00:00:34Z",
                "2027-09-30T23:00:00Z",
                "",
            ),
            (
                "offsets from UTC",
                "2027-06-09T02:30:00+02:00",
                "2027-04-01T00:00:14-00:00",
                "2027-06-08T21:00:00-08:00",
                "",
            ),
            (
                "before the epoch, where it wraps",
                "2027-03-31T23:59:00Z",
                "2027-03-31T23:59:59Z",
                "2027-04-01T00:00:00Z",
                "",
            ),
            (
                "said as an offset into the span",
                PartialTime(23400, DAY_S),
                PartialTime(14, 35),
                "2027-04-01T01:00:00Z",
                "",
            ),
            (
                "received 45 minutes and 3 seconds later",
                "2027-06-09T06:30:00Z",
                "2027-06-09T07:15:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T07:15:03Z",
            ),
            (
                "received after midnight",
                "2027-06-09T23:59:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-09T23:00:00Z",
                "2027-06-10T00:00:05Z",
            ),
            (
                "received, by a clock that is behind, before it was sent",
                "2027-06-10T00:01:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-09T23:59:50Z",
            ),
            (
                "exactly half a span later: the earlier instant",
                "2027-06-09T06:30:00Z",
                "2027-06-09T18:30:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T18:30:00Z",
            ),
            (
                "more than half a span later is taken for the next",
                "2027-06-09T06:30:00Z",
                "2027-06-09T18:30:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T18:31:00Z",
            ),
        )
    ),
    faults=(
        Fault("five = code 5", bits((0, 11), (5, 3), (0, 13))),
        Fault("at = code 1440", bits((1440, 11), (0, 3), (0, 13))),
        Fault("season = code 4392", bits((0, 11), (0, 3), (4392, 13))),
    ),
    refusals=tuple(
        Refusal(
            about,
            {
                "at": "2027-04-01T00:00:00Z",
                "five": "2027-04-01T00:00:00Z",
                "season": "2027-04-01T00:00:00Z",
                name: value,
            },
            name,
        )
        for about, name, value in (
            ("before the epoch", "season", "2027-03-31T23:59:59Z"),
            ("at the end of the span", "season", "2027-10-01T00:00:00Z"),
            ("without an offset from UTC", "at", "2027-04-01T00:00:00"),
            ("an offset into a span where times are whole", "season", PartialTime(0, 15811200)),
            ("an offset into another span", "at", PartialTime(0, 35)),
            ("no time", "at", "noon"),
        )
    ),
)
