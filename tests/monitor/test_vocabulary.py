"""A schema whose records could not be filled is refused before a station is sent out with it."""

import pytest
from batch_schema import BATCHED
from small_schema import SPECIES, codec_of, saw, schema_of

from packcodec.errors import SchemaError
from packcodec.monitor import check_vocabulary, summarise
from packcodec.schema import read_schema


def test_the_demo_sized_schema_is_filled() -> None:
    check_vocabulary(schema_of())


@pytest.mark.parametrize(
    ("change", "place", "says"),
    [
        (
            ('{ name = "dropped", kind', '{ name = "droped", kind'),
            r"message\.summary\.droped",
            r"did you mean 'dropped'.*make it optional",
        ),
        (
            ('{ name = "most", kind', '{ name = "biggest", kind'),
            r"message\.summary\.rows\.biggest",
            r"cannot fill.*make it optional",
        ),
        (
            ('{ name = "individuals", kind', '{ name = "weight", kind'),
            r"message\.sighting\.weight",
            "cannot fill",
        ),
        (
            ('"clock_unset", "restarted"', '"clock_unset", "restart"'),
            r"message\.sighting\.state",
            "did you mean 'restarted'",
        ),
        (
            ('{ name = "left_out", kind', '{ name = "people_2", optional = true, kind'),
            r"message\.summary: ",
            "add an integer 'left_out'",
        ),
        (
            ("least = 0, most = 4", "least = 1, most = 4"),
            r"message\.summary\.rows",
            "least = 0",
        ),
        (
            ('"visits", kind = "integer", low = 0', '"visits", kind = "integer", low = 1'),
            r"message\.summary\.rows\.visits",
            "low = 0",
        ),
        (
            ("high_s = 3600", "high_s = 1800"),
            r"message\.summary\.watched",
            "high_s = 3600 or more",
        ),
        (
            ('"last", kind = "duration", step_s = 60, high_s = 3540', '"last", kind = "boolean"'),
            r"message\.summary\.rows\.last",
            "make it of kind duration",
        ),
        (
            ("step_s = 60, high_s = 3540", "step_s = 60, high_s = 3480"),
            r"message\.summary\.rows\.first",
            "high_s = 3540 or more",
        ),
        (
            ("interval_min = 60", "interval_min = 30"),
            r"message\.summary\.start",
            "step_s = 1800",
        ),
    ],
)
def test_what_cannot_be_filled_is_refused_at_its_place(
    change: tuple[str, str], place: str, says: str
) -> None:
    with pytest.raises(SchemaError, match=f"^{place}.*{says}"):
        check_vocabulary(schema_of(change))
    with pytest.raises(SchemaError):
        summarise(codec_of(change), [])


def test_a_schema_with_none_of_the_messages_is_refused() -> None:
    changes = [(f"[message.{name}]", f"[message.my_{name}]") for name in ("sighting", "summary")]
    with pytest.raises(SchemaError, match="sighting, summary, health, sightings or summaries"):
        check_vocabulary(schema_of(*changes, ("[message.health]", "[message.state]")))


def test_an_optional_field_of_ones_own_stays_absent() -> None:
    codec = codec_of(('{ name = "people", kind', '{ name = "weather", kind'))
    (record,) = summarise(codec, [saw("06:00", "coot")]).records
    assert record.values["weather"] is None


AFTER = '{ name = "after", kind = "duration", step_s = 60, high_s = 86400, since = "previous" },'


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        (
            "[message.health]",
            '[message.summary]\ncode = 0\nfields = [{ name = "left_out", kind = "integer", '
            "low = 0, high = 9 }]\n[message.health]",
            "message.summaries",
            "told twice",
        ),
        (AFTER, "", "message.sightings.seen", 'add { name = "after"'),
        (
            AFTER,
            AFTER.replace(" }", ', above = "clamp" }'),
            "message.sightings.seen.after",
            "clamp",
        ),
        (AFTER, AFTER.replace("60", "90"), "message.sightings.seen.after", "divides 90"),
        ("least = 1, most = 40", "least = 2, most = 40", "message.sightings", "least = 0 or 1"),
        ('"individuals"', '"number"', "message.sightings.seen.number", "cannot fill"),
        (
            "step_s = 3600, high_s = 86400",
            "step_s = 5400, high_s = 86400",
            "message.summaries.hours.after",
            "divides 3600",
        ),
        (
            "step_s = 3600, high_s = 86400",
            "step_s = 1800, high_s = 1800",
            "message.summaries.hours.after",
            "short of the interval",
        ),
    ],
)
def test_a_batch_that_cannot_be_joined_is_refused_at_its_place(
    old: str, new: str, place: str, says: str
) -> None:
    head, found, rest = BATCHED.partition("[message.summaries]")
    body = f"{found}{rest}"
    assert old in body
    toml = head.partition("[message.sighting]")[0] + body.replace(old, new, 1)
    with pytest.raises(SchemaError, match=f"^{place}: .*{says}"):
        check_vocabulary(read_schema(toml, SPECIES))
