"""Legal together or not: each check fires where it should, alone, and names its clause."""

from dataclasses import replace

import pytest

from packcodec.errors import RadioError
from packcodec.radio import check_legal, find_link, largest_frame, rules_for


def refused_by(name: str) -> list[str]:
    return [f.rule for f in check_legal(find_link(name)) if f.verdict == "refused"]


@pytest.mark.parametrize(
    ("name", "rule"),
    [
        ("lora-eu-868.1:power_dbm=15", "eu-868.0-868.6"),
        ("lora-eu-869.85-5mw:power_dbm=14", "eu-869.7-870.0-5mw"),
        ("lora-eu-868.3-polite:listens=false", "eu-868.0-868.6-polite"),
        ("lora-eu-868.3-polite:sf=12,preamble_symbols=30", "eu-868.0-868.6-polite"),
        ("lora-ca-hop-64:power_dbm=31", "ca-fhss-50"),
        ("lora-au-wide:bandwidth_hz=250000", "au-digital"),
        ("lora-au-hop:hopping_channels=8", "au-fhss"),
        ("lora-jp-922:power_dbm=20", "jp-listen-5ms"),
        ("lora-kr-922.1:frequency_hz=921000000", "kr-listen-917-922"),
        ("lora-cn-470.3:bandwidth_hz=500000", "cn-470-510-narrow"),
        ("lora-br-hop:frequency_hz=910000000", "br-spread-spectrum"),
    ],
)
def test_the_one_thing_that_is_wrong_is_refused_under_its_rule(name, rule):
    assert set(refused_by(name)) == {rule}
    assert refused_by(name.partition(":")[0]) == []


def test_a_refusal_from_memory_says_so():
    findings = check_legal(find_link("lora-ca-hop-64:power_dbm=31"))
    assert findings[0].verdict == "refused"
    assert "from memory" in findings[0].problem
    assert "from memory" in findings[0].clause


def test_eirp_besides_conducted_power():
    canada = find_link("lora-ca-hop-64:power_dbm=30,antenna_gain_dbi=7")
    problems = [f.problem for f in check_legal(canada) if f.verdict == "refused"]
    assert len(problems) == 1
    assert "37.00 dBm EIRP is more than 36.00 dBm EIRP" in problems[0]


def test_a_feeder_takes_off_what_it_loses():
    assert refused_by("lora-eu-868.1:power_dbm=15,feeder_loss_db=1") == []


def test_a_superseded_rule_and_adaptive_power_are_refused():
    link = replace(find_link("lora-in-865.5"), rules=("in-865-867-rfid-2005",))
    assert check_legal(link)[0].problem == "the rule no longer holds"
    link = replace(find_link("lora-in-865.5"), rules=("in-865-868-500mw",))
    assert "adaptive power" in check_legal(link)[0].problem
    assert not any(f.verdict == "refused" for f in check_legal(replace(link, adapts_power=True)))


def test_an_amateur_rule_warns_of_ciphers_and_call_signs():
    link = replace(find_link("lora-us-low:power_dbm=20"), rules=("us-amateur",))
    cautions = [f.problem for f in check_legal(link) if f.verdict == "caution"]
    assert any("cipher" in problem for problem in cautions)
    assert any("600 s" in problem for problem in cautions)


def test_refusals_come_first():
    verdicts = [f.verdict for f in check_legal(find_link("lora-us-hop:power_dbm=30"))]
    assert verdicts == sorted(verdicts, key=("refused", "caution", "note").index)
    assert verdicts[0] == "refused"


def test_a_link_whose_law_is_its_networks_has_no_findings():
    assert check_legal(find_link("text-message")) == ()
    assert largest_frame(find_link("text-message")) == 140


def test_an_unknown_rule_names_the_nearest():
    link = replace(find_link("lora-eu-868.1"), rules=("eu-868.0-868.7",))
    with pytest.raises(RadioError, match=r"did you mean 'eu-868\.0-868\.6'"):
        rules_for(link)


def test_the_longest_frame_is_the_least_of_every_bound():
    assert largest_frame(find_link("lora-eu-868.1:sf=12")) == 255
    assert largest_frame(find_link("lora-eu-868.3-polite:sf=12")) == 10
    assert largest_frame(find_link("lorawan-us915-dr0")) == 11
    assert largest_frame(find_link("lorawan-eu868-dr0")) == 51


def cautions(name: str) -> str:
    return " ".join(str(f) for f in check_legal(find_link(name)) if f.verdict == "caution")


def test_a_plan_alone_is_no_law():
    assert "no country's law" in cautions("lorawan-as923-1-dwell1-dr2")
    assert "no country's law" not in cautions("lorawan-au915-dwell1-dr2")


def test_a_legal_link_still_says_what_its_rule_has_from_memory():
    assert "the whole rule is from memory" in cautions("lora-uk-868.1")
    assert "from memory: bandwidth at least, clause" in cautions("lora-au-wide")
    assert "from memory" not in cautions("lora-eu-868.1")
