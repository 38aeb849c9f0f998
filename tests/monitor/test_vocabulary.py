"""A schema whose records could not be filled is refused before a station is sent out with it."""

import pytest
from small_schema import codec_of, saw, schema_of

from packcodec.errors import SchemaError
from packcodec.monitor import check_vocabulary, summarise


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
    with pytest.raises(SchemaError, match="sighting, summary or health"):
        check_vocabulary(schema_of(*changes, ("[message.health]", "[message.state]")))


def test_an_optional_field_of_ones_own_stays_absent() -> None:
    codec = codec_of(('{ name = "people", kind', '{ name = "weather", kind'))
    (record,) = summarise(codec, [saw("06:00", "coot")]).records
    assert record.values["weather"] is None
