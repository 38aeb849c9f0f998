"""The known links by name, a user's own besides, and a link changed for a site.

A link is named as in `packcodec links`, and may be changed on the spot:

    lora-eu-868.1
    lora-eu-868.1:sf=11
    lora-us-hop:power_dbm=14,antenna_gain_dbi=5
    lorawan-eu868-dr3:repeater=true

A user's file adds links and rules, or takes the place of known ones, in the same form as the
package's own rows: spec/own-rules.md.
"""

import re
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from typing import Any

from packcodec.errors import RadioError
from packcodec.frozen import frozen, replace
from packcodec.radio import rows
from packcodec.radio.link import COLUMNS, Link, check_link, read_link
from packcodec.radio.lorawan import lorawan_rows
from packcodec.radio.rows import Raw
from packcodec.radio.rules import Rule, read_rule, rule_rows
from packcodec.schema.toml_place import line_of

FILES = ("links/lora.toml", "links/other.toml")
NAMED_BY = {"rule": "id", "link": "name"}


@cache
def link_rows() -> Mapping[str, Raw]:
    """The package's link rows by name, merged but unread, for others to be `like`."""
    plain = rows.package_tables(FILES, "link", "name")
    return {**plain, **{row["name"]: row for row in lorawan_rows()}}


def known_links(extra: Iterable[Link] = ()) -> Mapping[str, Link]:
    """Every link by name; `extra` (a user's own) joins them or takes their place."""
    return rows.Book(link_rows, _package_link, {link.name: link for link in extra})


@cache
def _package_link(name: str) -> Link:
    try:
        row = rows.package_table(FILES, "link", "name", name)
    except KeyError:
        row = link_rows()[name]
    return read_link(row, "links")


@frozen
class OwnRadio:
    """What a user's file adds. Every link and rule in it is marked as the user's own."""

    links: tuple[Link, ...] = ()
    rules: tuple[Rule, ...] = ()


def read_user_rules(text: str, place: str) -> OwnRadio:
    """A user's TOML text (spec/own-rules.md) → their links and rules.

    RadioError names `place`, the line, row and key.
    """
    document = rows.parse(text, place)
    try:
        return _own_radio(document, place)
    except RadioError as error:
        where = _with_line(text, document, error.place, place)
        raise RadioError(error.problem, place=where, remedy=error.remedy) from None


_OF_A_ROW = re.compile(r", (rule|link) '(.*?)'(?:, (\w+))?")


def _with_line(text: str, document: Raw, told: str, place: str) -> str:
    """The place that an error tells, with the line of its row or key behind the file's name."""
    found = _OF_A_ROW.match(told.removeprefix(place))
    if found is None or not told.startswith(place):
        return told
    word, name, key = found.groups()
    names = [str(row.get(NAMED_BY[word], "?")) for row in document[word]]
    path = (word, names.index(name)) if name in names else (word,)
    line = line_of(text, (*path, key) if key else path)
    return told if line is None else f"{place}:{line}{told.removeprefix(place)}"


def _own_radio(document: Raw, place: str) -> OwnRadio:
    for word in document:
        rows.nearest(word, ("rule", "link", "template"), place, "use [[rule]] and [[link]]")
    rule_table = rows.merged_tables(document, "rule", NAMED_BY["rule"], rule_rows(), place)
    link_table = rows.merged_tables(document, "link", NAMED_BY["link"], link_rows(), place)
    rules = tuple(read_rule(row, place, users_own=True) for row in rule_table.values())
    links = tuple(read_link(row, place, users_own=True) for row in link_table.values())
    known_ids = {*rule_rows(), *(rule.id for rule in rules)}
    for link in links:
        for rule_id in link.rules:
            rows.nearest(rule_id, known_ids, f"{place}, link '{link.name}', rules")
    return OwnRadio(links, rules)


def find_link(name: str, extra: Iterable[Link] = ()) -> Link:
    """The link of that name, changed as said behind a colon; the user's own win over known ones.

    RadioError with the nearest name, or for a change that is not possible.
    """
    base, colon, changes = name.partition(":")
    links = known_links(extra)
    link = links[rows.nearest(base, links, "link", "see packcodec links")]
    return adjusted(link, **_parse_changes(changes, name)) if colon else link


def adjusted(link: Link, **changes: Any) -> Link:
    """The link with some figures changed; its name tells them. See CHANGES for the keys.

    RadioError for an unknown key, or a figure that the link or its modulation cannot have. Whether
    the result is legal is for `check_legal` to say.
    """
    place = f"link '{link.name}'"
    changed = link
    for key, value in changes.items():
        figure = rows.exact(value) if isinstance(value, float) else value
        try:
            changed = CHANGES[rows.nearest(key, CHANGES, place)](changed, key, figure)
        except RadioError as error:
            where = f"{place}, {error.place}" if place not in error.place else error.place
            raise RadioError(error.problem, place=where, remedy=error.remedy) from error
    room = changed.modulation.most_bytes - changed.overhead_bytes
    changed = replace(changed, payload_most=min(changed.payload_most, room))
    check_link(changed, place)
    told = ",".join(f"{key}={_told(value)}" for key, value in changes.items())
    return replace(changed, name=f"{link.name}:{told}") if told else changed


def _of_link(link: Link, key: str, value: Any) -> Link:
    return replace(link, **rows.fill({key: value}, COLUMNS, (), f"link '{link.name}'"))


def _of_modulation(link: Link, key: str, value: Any) -> Link:
    if link.answer is not None:
        raise RadioError("a LoRaWAN data rate is fixed", place=key, remedy="name another drN")
    if not hasattr(link.modulation, key):
        kind = type(link.modulation).__name__
        raise RadioError(f"{kind} has no such figure", place=key, remedy="leave it out")
    return replace(link, modulation=replace(link.modulation, **{key: value}))


def _frequency(link: Link, _: str, value: Any) -> Link:
    """One channel: what stays on it does not hop."""
    return replace(_of_link(link, "frequencies_hz", [value]), hopping_channels=0)


def _repeater(link: Link, key: str, value: Any) -> Link:
    if link.payload_most_repeated is None:
        raise RadioError("only LoRaWAN has repeaters", place=key, remedy="leave it out")
    return replace(link, payload_most=link.payload_most_repeated) if value else link


Change = Callable[[Link, str, Any], Link]
CHANGES: dict[str, Change] = {
    "frequency_hz": _frequency,
    "repeater": _repeater,
    **dict.fromkeys(
        (
            "power_dbm",
            "power_reference",
            "antenna_gain_dbi",
            "feeder_loss_db",
            "hopping_channels",
            "listens",
            "chip",
        ),
        _of_link,
    ),
    **dict.fromkeys(
        (
            "sf",
            "bandwidth_hz",
            "coding_rate",
            "preamble_symbols",
            "explicit_header",
            "crc",
            "low_data_rate",
            "bitrate_bps",
            "headers",
            "copies",
            "baud",
            "framing",
            "session_s",
        ),
        _of_modulation,
    ),
}

_WORDS = {"true": True, "false": False}


def _parse_changes(text: str, name: str) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    for part in text.split(","):
        key, equals, value = part.partition("=")
        if not equals:
            raise RadioError(
                f"'{part}' changes nothing", place=f"link '{name}'", remedy="write NAME:key=value,…"
            )
        if key.strip() in changes:
            raise RadioError(
                "is given twice", place=f"link '{name}', {key.strip()}", remedy="give it once"
            )
        changes[key.strip()] = _figure(value.strip())
    return changes


def _figure(text: str) -> Any:
    """What the text of a change stands for: true or false, a whole number, a number, a word."""
    if text in _WORDS:
        return _WORDS[text]
    for read in (int, float):
        try:
            return read(text)
        except ValueError:
            continue
    return text


def _told(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
