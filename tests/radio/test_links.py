"""Links: the known ones, a change on the spot, and a user's own file."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import packcodec.radio
from packcodec.errors import RadioError
from packcodec.layout.compiler import LARGEST_FRAME_BYTES
from packcodec.radio import (
    Lora,
    Serial,
    adjusted,
    airtime,
    check_legal,
    exchange,
    find_link,
    known_links,
    known_rules,
    read_user_rules,
    rules_for,
)
from packcodec.radio.link import COLUMNS as LINK_COLUMNS
from packcodec.radio.links import FILES
from packcodec.radio.rules import COLUMNS as RULE_COLUMNS

LINKS = known_links()


@pytest.mark.parametrize("link", LINKS.values(), ids=lambda link: link.name)
def test_every_known_link_is_whole_and_legal(link):
    assert [f for f in check_legal(link) if f.verdict == "refused"] == []
    assert link.airtime(link.payload_most).airtime_us >= link.airtime(0).airtime_us > 0
    assert link.source
    assert bool(link.rules) == bool(link.frequencies_hz) == (link.power_dbm is not None)
    if link.rules:
        assert rules_for(link), "a link with rules works under at least one"


def test_every_kind_of_link_is_there():
    for start in ("lora-eu-", "lora-us-", "lora-au-", "lorawan-", "gfsk-", "lr-fhss-", "unb-"):
        assert any(name.startswith(start) for name in LINKS)
    assert {"text-message", "satellite-burst", "serial-kiss-9600"} <= LINKS.keys()


def test_the_largest_frame_of_the_layout_compiler_is_the_largest_burst_on_the_air():
    on_air = [link for link in LINKS.values() if not isinstance(link.modulation, Serial)]
    assert max(link.payload_most for link in on_air) == LARGEST_FRAME_BYTES


def test_an_unknown_link_names_the_nearest():
    with pytest.raises(RadioError, match="did you mean 'lorawan-eu868-dr3'"):
        find_link("lorawan-eu868-d3")


def test_a_frame_takes_the_carriers_octets_with_it():
    link = find_link("lorawan-eu868-dr3")
    assert link.airtime(12) == airtime(Lora(9), 25)
    assert link.airtime(12).airtime_us == 205_824
    with pytest.raises(RadioError, match="takes 0 to 115 bytes"):
        link.airtime(116)


def test_the_carrier_says_what_the_frame_need_not():
    assert set(find_link("lorawan-eu868-dr0").carrier_says) == {"station", "message", "sequence"}
    assert find_link("lora-eu-868.1").carrier_says == ()


def test_a_change_on_the_spot_is_the_change_in_code():
    spoken = find_link("lora-eu-868.1:sf=11,power_dbm=10.5,listens=true")
    assert spoken == adjusted(LINKS["lora-eu-868.1"], sf=11, power_dbm=10.5, listens=True)
    assert spoken.modulation == Lora(11)
    assert (spoken.power_dbm, spoken.listens) == (10.5, True)
    assert spoken.name == "lora-eu-868.1:sf=11,power_dbm=10.5,listens=true"


def test_another_frequency_works_under_another_rule_and_does_not_hop():
    moved = find_link("lora-eu-868.1:frequency_hz=869525000")
    assert [rule.id for rule in rules_for(moved)] == ["eu-869.4-869.65"]
    assert find_link("lora-us-hop:frequency_hz=915000000").hopping_channels == 0


def test_a_change_that_shrinks_the_room_is_followed():
    assert find_link("lr-fhss-eu-868.3:headers=4").payload_most == 60


def test_behind_a_repeater():
    assert find_link("lorawan-eu868-dr5:repeater=true").payload_most == 222
    assert find_link("lorawan-eu868-dr5:repeater=false").payload_most == 242
    assert find_link("lorawan-eu868-dr0:repeater=true").payload_most == 51


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("lora-eu-868.1:sf=13", "sf"),
        ("lora-eu-868.1:sf=nine", "'nine' is not possible"),
        ("lora-eu-868.1:sff=9", "did you mean 'sf'"),
        ("lora-eu-868.1:sf", "NAME:key=value"),
        ("lora-eu-868.1:power_dbm=loud", "power_dbm"),
        ("lora-eu-868.1:power_dbm=nan", "power_dbm"),
        ("lora-eu-868.1:power_reference=ERP", "power_reference"),
        ("lora-eu-868.1:feeder_loss_db=-1", "feeder_loss_db"),
        ("lora-eu-868.1:frequency_hz=868.1", "whole number"),
        ("lora-eu-868.1:hopping_channels=8", "the channels it has"),
        ("lora-eu-868.1:repeater=true", "only LoRaWAN"),
        ("lorawan-eu868-dr3:sf=9", "name another drN"),
        ("serial-kiss-9600:sf=9", "Serial has no such figure"),
    ],
)
def test_a_change_that_is_not_possible_is_refused(name, words):
    with pytest.raises(RadioError) as refused:
        find_link(name)
    assert words in str(refused.value)
    assert "link '" in refused.value.place


def test_join_and_acknowledgement():
    """23 and 12 octets up, 33 and 12 down; the answer to US915 comes at 500 kHz, without CRC."""
    both = exchange(find_link("lorawan-us915-dr0"))
    assert both.join_request == airtime(Lora(10), 23)
    assert both.join_request.airtime_us <= 400_000
    assert both.acknowledgement == airtime(Lora(10), 12)
    assert both.join_accept == airtime(Lora(10, 500_000, crc=False), 33)
    assert both.acknowledged == airtime(Lora(10, 500_000, crc=False), 12)
    with pytest.raises(RadioError, match="only LoRaWAN"):
        exchange(find_link("lora-eu-868.1"))


def test_billing_is_in_whole_quanta_with_a_least_size():
    link = replace(
        find_link("satellite-burst"),
        billed_least_bytes=30,
        billed_quantum_bytes=20,
        price_per_quantum=Fraction(1, 20),
    )
    assert [link.billed_bytes(n) for n in (1, 20, 21, 41)] == [30, 30, 40, 60]
    assert link.price(41) == Fraction(3, 20)
    assert find_link("satellite-burst").price(41) is None


OWN = """
[[rule]]
id = "site-licence"
like = "eu-868.0-868.6"
without = ["advised_longest_s"]
duty_cycle = 0.1
source = "an invented licence for Sedgemere"
evidence = "primary"

[[rule]]
id = "eu-868.0-868.6"
like = "eu-868.0-868.6"
duty_cycle = 0.005

[[link]]
name = "north-hide"
like = "lora-eu-868.1"
rules = ["site-licence"]

[[link]]
name = "south-hide"
like = "north-hide"
lora = { sf = 12 }
"""


def test_a_users_file_adds_and_overrides_and_says_so():
    own = read_user_rules(OWN, "sedgemere.toml")
    book = known_rules(own.rules)
    link = find_link("south-hide", own.links)
    assert link.users_own
    assert link.modulation == Lora(12)
    (rule,) = rules_for(link, book)
    assert (rule.id, rule.users_own, rule.duty_cycle) == ("site-licence", True, Fraction(1, 10))
    overridden = rules_for(find_link("lora-eu-868.1"), book)
    assert [r.duty_cycle for r in overridden] == [Fraction(1, 200)]
    assert "the user's own rule" in overridden[0].citation
    assert "the user's own link" in link.citation


def test_a_users_refusal_is_told_as_the_users_own():
    own = read_user_rules(OWN, "sedgemere.toml")
    loud = adjusted(find_link("north-hide", own.links), power_dbm=20)
    (refused,) = (f for f in check_legal(loud, known_rules(own.rules)) if f.verdict == "refused")
    assert "the user's own rule" in str(refused)


def test_a_users_link_may_be_like_a_lorawan_data_rate():
    own = read_user_rules(
        "[[link]]\nname = 'gate'\nlike = 'lorawan-eu868-dr3'\npower_dbm = 10\n", "mine.toml"
    )
    assert own.links[0].overhead_bytes == 13
    assert exchange(own.links[0]) == exchange(find_link("lorawan-eu868-dr3"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[rule]\n", "not TOML"),
        ("[[rules]]\nid = 'a'\n", "did you mean 'rule'"),
        ("rule = 3\n", "not a list of tables"),
        ("[[rule]]\nregion = 'x'\n", "'id' is missing"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nrules = ['eu-868']\n", "did you mean"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nsf = 9\n", "unknown name 'sf'"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nlora = { sff = 9 }\n", "'sf'"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nlora = {}\n", "sf"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nlora = { sf = 99 }\n", "99"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\ngfsk = {}\n", "one modulation"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\npayload_most = 256\n", "1 to 255 bytes"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nfrequencies_hz = []\n", "hertz"),
        ("[[link]]\nname = 'a'\nlike = 'x-none'\n", "unknown name 'x-none'"),
        ("[[link]]\nname = 'a'\nlike = 3\n", "a list of texts"),
        ("[[link]]\nname = 3\n", "a text in quotes"),
        ("[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\nwithout = ['lora']\n", "found none"),
        ("template = 3\n", "a table"),
        (
            "[[link]]\nname = 'a'\nlike = 'lora-eu-868.1'\n"
            "[[link]]\nname = 'a'\nlike = 'lora-eu-868.3'\n",
            "named twice",
        ),
    ],
)
def test_a_slip_in_a_users_file_is_refused_with_its_place(text, words):
    with pytest.raises(RadioError) as refused:
        read_user_rules(text, "mine.toml")
    assert "mine.toml" in refused.value.place
    assert words in str(refused.value)


scalars = st.one_of(
    st.booleans(),
    st.integers(-(10**400), 10**400),
    st.floats(),
    st.text(alphabet="ab-é", max_size=4),
    st.sampled_from(["lora-eu-868.1", "eu-868.0-868.6", "erp", "1/3", "station", "memory"]),
)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["sf", "first_hz", "step_hz", "count", "x"]), inner),
    ),
    max_leaves=4,
)


def in_toml(value: object) -> str:
    """A value as TOML writes it."""
    match value:
        case bool():
            return str(value).lower()
        case str():
            return f'"{value}"'
        case list():
            return f"[{', '.join(in_toml(item) for item in value)}]"
        case dict():
            return "{" + ", ".join(f"{k} = {in_toml(v)}" for k, v in value.items()) + "}"
    return str(value)


@given(
    st.sampled_from(["rule", "link"]),
    st.dictionaries(
        st.sampled_from(sorted({c.key for c in (*RULE_COLUMNS, *LINK_COLUMNS)} | {"without"})),
        values,
        max_size=4,
    ),
)
def test_whatever_a_users_file_says_it_is_read_or_refused(word, changes):
    like = {"rule": "eu-868.0-868.6", "link": "lora-eu-868.1"}[word]
    name = {"rule": "id", "link": "name"}[word]
    row = {name: "own", "like": like} | changes
    text = f"[[{word}]]\n" + "\n".join(f"{key} = {in_toml(value)}" for key, value in row.items())
    try:
        own = read_user_rules(text, "mine.toml")
    except RadioError:
        return
    for link in own.links:
        check_legal(link, known_rules(own.rules))


def test_no_data_file_is_forgotten() -> None:
    data = Path(packcodec.radio.__file__).parent / "data"
    assert sorted(FILES) == [f"links/{path.name}" for path in sorted((data / "links").iterdir())]
