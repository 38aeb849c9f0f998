"""spec/rules.md is what the data says, and leaves nothing out."""

from tool_loader import tool

from packcodec.radio import known_rules

rules_page = tool("rules_page")


def test_the_page_is_up_to_date():
    assert rules_page.PAGE.read_text(encoding="utf-8") == rules_page.page(), (
        "run python tools/rules_page.py"
    )


def test_every_rule_has_its_place_source_and_caution():
    page = rules_page.page()
    for rule in known_rules().values():
        assert f"\n### {rule.id}\n" in page
        assert rule.citation in page
        assert rule.caution in page
