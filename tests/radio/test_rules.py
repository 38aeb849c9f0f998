"""Rules as data: every row whole, every doubt visible, every slip refused with its place."""

from fractions import Fraction
from pathlib import Path

import pytest

from packcodec.errors import RadioError
from packcodec.radio import rules
from packcodec.radio.rows import merge, parse
from packcodec.radio.rules import COLUMNS, FILES, known_rules, read_rule, rule_rows
from packcodec.radio.wording import describe

RULES = known_rules()
DATA = Path(rules.__file__).parent / "data"

REGIONS = (
    "Europe (CEPT)",
    "United Kingdom",
    "United States",
    "Canada",
    "Australia",
    "New Zealand",
    "AS923 countries",
    "Japan",
    "South Korea",
    "India",
    "Russia",
    "China",
    "Brazil",
)

MINIMAL = {
    "id": "own",
    "region": "here",
    "regime": "licence",
    "bands_hz": [[868_000_000, 868_600_000]],
    "source": "a letter",
    "evidence": "primary",
}


@pytest.mark.parametrize("region", REGIONS)
def test_every_region_has_rules(region):
    assert any(rule.region == region for rule in RULES.values())


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.id)
def test_every_rule_says_something_and_where_from(rule):
    limits = describe(rule)
    assert len(limits) >= 2, "a band alone is no limit"
    assert rule.source in rule.citation
    assert all(10**8 < low < high < 10**9 for low, high in rule.bands_hz)


@pytest.mark.parametrize(
    "rule", [r for r in RULES.values() if r.evidence == "memory"], ids=lambda rule: rule.id
)
def test_a_row_from_memory_says_so_in_every_value_and_in_its_citation(rule):
    assert all(value.endswith("(from memory)") for _, value in describe(rule))
    assert "from memory" in rule.citation


@pytest.mark.parametrize(
    "rule",
    [r for r in RULES.values() if r.unconfirmed and r.evidence != "memory"],
    ids=lambda rule: rule.id,
)
def test_single_values_from_memory_are_marked_and_the_others_are_not(rule):
    shown = dict(describe(rule))
    marked = {label for label, value in shown.items() if value.endswith("(from memory)")}
    cited = "clause" in rule.unconfirmed
    assert marked or cited
    assert len(marked) < len(shown)


def test_every_column_is_an_attribute_and_every_attribute_has_a_column():
    targets = {column.target for column in COLUMNS}
    assert targets | {"users_own"} == set(type(RULES["eu-863-865"]).__dataclass_fields__)


def test_a_duty_cycle_is_exact_microseconds():
    assert RULES["eu-868.0-868.6"].duty_cycle == Fraction(1, 100)
    assert RULES["eu-868.0-868.6"].duty_budget_us == 36_000_000
    assert RULES["eu-868.0-868.6-polite"].duty_budget_us is None


def test_a_polite_row_is_its_sub_band_without_the_duty_cycle():
    rule, polite = RULES["eu-865-868"], RULES["eu-865-868-polite"]
    assert (polite.bands_hz, polite.power_dbm) == (rule.bands_hz, rule.power_dbm)
    assert polite.listen
    assert not rule.listen


def test_an_emission_must_lie_whole_inside_one_band():
    brazil = RULES["br-spread-spectrum"]
    assert brazil.holds_for(902_000_000, 902_125_000)
    assert not brazil.holds_for(907_450_000, 907_575_000)
    assert not brazil.holds_for(910_000_000, 910_125_000)


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        ({"power": 3}, "rule 'own'", "did you mean 'power_dbm'"),
        ({"power_dbm": "14", "power_reference": "erp"}, "power_dbm", "a number"),
        ({"power_dbm": 14}, "rule 'own'", "power_reference"),
        ({"power_dbm": 14, "power_reference": "ERP"}, "power_reference", '"erp"'),
        ({"duty_cycle": Fraction(3, 2)}, "duty_cycle", "1 % is 0.01"),
        ({"duty_cycle": Fraction(1, 100)}, "rule 'own'", "duty_window_s"),
        ({"bands_hz": [[2, 1]]}, "bands_hz", "low below high"),
        ({"bands_hz": 868}, "bands_hz", "in hertz"),
        ({"dwell_s": 0}, "dwell_s", "seconds above 0"),
        ({"dwell_s": Fraction(1, 10**7)}, "dwell_s", "microsecond"),
        ({"unconfirmed": ["powr_dbm"]}, "unconfirmed", "did you mean 'power_dbm'"),
        ({"listen": 1}, "listen", "true or false"),
        ({"channels_least": True}, "channels_least", "whole number"),
    ],
)
def test_a_slip_is_refused_with_row_key_and_remedy(changes, place, words):
    with pytest.raises(RadioError) as refused:
        read_rule(MINIMAL | changes, "mine.toml")
    assert "mine.toml" in refused.value.place
    assert place in refused.value.place
    assert words in str(refused.value)


@pytest.mark.parametrize("key", ["id", "region", "regime", "bands_hz", "source", "evidence"])
def test_a_missing_key_is_named(key):
    with pytest.raises(RadioError, match=f"'{key}' is missing"):
        read_rule({k: v for k, v in MINIMAL.items() if k != key}, "mine.toml")


@pytest.mark.parametrize("figure", ["inf", "nan", "1e999999999", "1e-999999999"])
def test_no_figure_is_too_odd_for_an_error_of_the_family(figure):
    row = parse(f"power_dbm = {figure}", "mine.toml")
    rule = MINIMAL | row | {"power_reference": "erp"}
    if figure == "1e-999999999":
        assert read_rule(rule, "mine.toml").power_dbm == 0
        return
    with pytest.raises(RadioError, match="power_dbm"):
        read_rule(rule, "mine.toml")


def test_decimals_are_exact():
    assert parse("duty_cycle = 0.001", "mine.toml") == {"duty_cycle": Fraction(1, 1000)}


def test_like_takes_over_and_without_leaves_out():
    row = merge(
        {"id": "own", "like": "eu-868.0-868.6", "without": ["advised_longest_s"], "power_dbm": 10},
        rule_rows(),
        "mine.toml",
    )
    own = read_rule(row, "mine.toml", users_own=True)
    assert own.power_dbm == 10
    assert own.advised_longest_us is None
    assert own.duty_cycle == RULES["eu-868.0-868.6"].duty_cycle
    assert "the user's own rule" in own.citation


def test_like_an_unknown_row_names_the_nearest():
    with pytest.raises(RadioError, match=r"did you mean 'eu-868\.0-868\.6'"):
        merge({"id": "own", "like": "eu-868.0-868"}, rule_rows(), "mine.toml")


def test_no_data_file_is_forgotten() -> None:
    assert sorted(FILES) == [f"rules/{path.name}" for path in sorted((DATA / "rules").iterdir())]
    assert (
        len(RULES)
        == len(list(RULES))
        == sum((DATA / file).read_text(encoding="utf-8").count("[[rule]]") for file in FILES)
    )
