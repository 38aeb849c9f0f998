"""What the law allows, as data: one row a limit, each with its clause and how far confirmed.

A :class:`Rule` is one complete path through a regulation: all its limits hold together. Where a
regulation offers a choice (a duty cycle, or listening before talking instead), each choice is a
row of its own. Rows are keyed on frequencies, never on the letters of sub-bands, which shift
between editions.

`evidence` says how far a row is confirmed: "primary" (the text itself was read), "secondary" (a
text that quotes or transcribes it was read), "memory" (not confirmed). `unconfirmed` names single
attributes that are from memory in a row that is otherwise confirmed. Whoever shows a value of a
rule shows that mark with it: use :meth:`Rule.told`, or `describe` of packcodec.radio.wording.

The rows live in data/rules/*.toml, a file a region; spec/rules.md is made from them.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import cache
from typing import Literal

from packcodec.errors import RadioError
from packcodec.frozen import frozen
from packcodec.radio import rows
from packcodec.radio.rows import Book, Column, Raw

Reference = Literal["conducted", "erp", "eirp"]
Evidence = Literal["primary", "secondary", "memory"]
Standing = Literal["in force", "superseded", "plan"]

FROM_MEMORY = "from memory"

# In the order of the tables that are made of them.
FILES = (
    "rules/10-europe.toml",
    "rules/20-united-kingdom.toml",
    "rules/30-united-states.toml",
    "rules/31-canada.toml",
    "rules/40-oceania.toml",
    "rules/50-asia.toml",
    "rules/60-latin-america.toml",
)


@frozen
class Rule:
    """One path through a regulation. None means that the path sets no such limit.

    Power: `power_dbm` in its `power_reference`; a conducted limit assumes an antenna of at most
    `antenna_gain_most_dbi` (more gain takes power off, dB for dB); `eirp_most_dbm` holds besides.
    Density: `density_dbm` in any `density_per_hz`.
    Time: `duty_cycle` of any sliding `duty_window_us`, summed over `duty_scope`; `dwell_us` on one
    channel in any `dwell_window_us` (with `dwell_window_per_channel`, that window is `dwell_us` ×
    the hopping channels); `longest_us` one transmission, `dialogue_us` one exchange of them,
    `pause_us` between them; `on_time_us` in any `on_time_window_us` per `on_time_per_hz`;
    `advised_longest_us` is advice.
    Access: `listen` before talking for `listen_us` at `listen_threshold_dbm`; at least
    `channels_least` hopping channels; `adaptive_power` control.
    Standing: "plan" is a network plan's own setting, not law; "superseded" no longer counts.
    """

    id: str
    region: str
    regime: str
    bands_hz: tuple[tuple[int, int], ...]
    source: str
    evidence: Evidence
    clause: str = ""
    edition: str = ""
    power_dbm: float | None = None
    power_reference: Reference | None = None
    eirp_most_dbm: float | None = None
    antenna_gain_most_dbi: float | None = None
    density_dbm: float | None = None
    density_per_hz: int | None = None
    density_reference: Reference | None = None
    duty_cycle: Fraction | None = None
    duty_window_us: int | None = None
    duty_scope: str = ""
    dwell_us: int | None = None
    dwell_window_us: int | None = None
    dwell_window_per_channel: bool = False
    longest_us: int | None = None
    dialogue_us: int | None = None
    advised_longest_us: int | None = None
    pause_us: int | None = None
    on_time_us: int | None = None
    on_time_window_us: int | None = None
    on_time_per_hz: int | None = None
    listen: bool = False
    listen_us: int | None = None
    listen_threshold_dbm: float | None = None
    listen_threshold: str = ""
    channels_least: int | None = None
    bandwidth_least_hz: int | None = None
    bandwidth_most_hz: int | None = None
    bandwidth_measure: str = ""
    adaptive_power: bool = False
    cipher_forbidden: bool = False
    call_sign_us: int | None = None
    standing: Standing = "in force"
    unconfirmed: tuple[str, ...] = ()
    note: str = ""
    caution: str = ""
    users_own: bool = False

    def holds_for(self, low_hz: int, high_hz: int) -> bool:
        """Whether an emission from `low_hz` to `high_hz` lies inside one of the bands."""
        return any(low <= low_hz and high_hz <= high for low, high in self.bands_hz)

    def from_memory(self, attribute: str) -> bool:
        """Whether this one value is unconfirmed."""
        return self.evidence == "memory" or attribute in self.unconfirmed

    def told(self, shown: str, *attributes: str) -> str:
        """A shown value with its mark if any of the attributes behind it is from memory."""
        doubtful = any(self.from_memory(attribute) for attribute in attributes)
        return f"{shown} ({FROM_MEMORY})" if doubtful else shown

    @property
    def citation(self) -> str:
        """Source, edition, clause and standing in one line."""
        cited = ", ".join(part for part in (self.source, self.edition, self.clause) if part)
        marks = [
            mark
            for mark, holds in (
                ("the user's own rule", self.users_own),
                (FROM_MEMORY, self.evidence == "memory"),
                ("superseded", self.standing == "superseded"),
                ("a network plan's setting, not law", self.standing == "plan"),
            )
            if holds
        ]
        return f"{cited} [{'; '.join(marks)}]" if marks else cited

    @property
    def duty_budget_us(self) -> int | None:
        """Airtime the duty cycle leaves in its window."""
        if self.duty_cycle is None or self.duty_window_us is None:
            return None
        return int(self.duty_cycle * self.duty_window_us)


_REFERENCE = rows.choice("conducted", "erp", "eirp")
COLUMNS = (
    Column("id", rows.text),
    Column("region", rows.text),
    Column("regime", rows.text),
    Column("bands_hz", rows.bands),
    Column("source", rows.text),
    Column("evidence", rows.choice("primary", "secondary", "memory")),
    Column("clause", rows.text),
    Column("edition", rows.text),
    Column("power_dbm", rows.decibels),
    Column("power_reference", _REFERENCE),
    Column("eirp_most_dbm", rows.decibels),
    Column("antenna_gain_most_dbi", rows.decibels),
    Column("density_dbm", rows.decibels),
    Column("density_per_hz", rows.whole),
    Column("density_reference", _REFERENCE),
    Column("duty_cycle", rows.share),
    Column("duty_window_s", rows.seconds, "duty_window_us"),
    Column("duty_scope", rows.text),
    Column("dwell_s", rows.seconds, "dwell_us"),
    Column("dwell_window_s", rows.seconds, "dwell_window_us"),
    Column("dwell_window_per_channel", rows.truth),
    Column("longest_s", rows.seconds, "longest_us"),
    Column("dialogue_s", rows.seconds, "dialogue_us"),
    Column("advised_longest_s", rows.seconds, "advised_longest_us"),
    Column("pause_s", rows.seconds, "pause_us"),
    Column("on_time_s", rows.seconds, "on_time_us"),
    Column("on_time_window_s", rows.seconds, "on_time_window_us"),
    Column("on_time_per_hz", rows.whole),
    Column("listen", rows.truth),
    Column("listen_s", rows.seconds, "listen_us"),
    Column("listen_threshold_dbm", rows.decibels),
    Column("listen_threshold", rows.text),
    Column("channels_least", rows.whole),
    Column("bandwidth_least_hz", rows.whole),
    Column("bandwidth_most_hz", rows.whole),
    Column("bandwidth_measure", rows.text),
    Column("adaptive_power", rows.truth),
    Column("cipher_forbidden", rows.truth),
    Column("call_sign_s", rows.seconds, "call_sign_us"),
    Column("standing", rows.choice("in force", "superseded", "plan")),
    Column("unconfirmed", rows.texts),
    Column("note", rows.text),
    Column("caution", rows.text),
)
REQUIRED = ("id", "region", "regime", "bands_hz", "source", "evidence")
TOGETHER = (
    ("power_dbm", "power_reference"),
    ("density_dbm", "density_per_hz", "density_reference"),
    ("duty_cycle", "duty_window_s", "duty_scope"),
    ("on_time_s", "on_time_window_s", "on_time_per_hz"),
)
_TARGETS = {column.key: column.target for column in COLUMNS}


def read_rule(row: Raw, place: str, *, users_own: bool = False) -> Rule:
    """One merged row → a Rule; RadioError names the row and key."""
    where = f"{place}, rule '{row.get('id', '?')}'"
    values = rows.fill(row, COLUMNS, REQUIRED, where)
    for keys in TOGETHER:
        given = [key for key in keys if key in row]
        if given and len(given) < len(keys):
            missing = next(key for key in keys if key not in row)
            raise RadioError(
                f"'{given[0]}' means nothing without '{missing}'",
                place=where,
                remedy=f"add {missing} = …",
            )
    doubtful = values.get("unconfirmed", ())
    keys_in_doubt = (rows.nearest(key, _TARGETS, f"{where}, unconfirmed") for key in doubtful)
    values["unconfirmed"] = tuple(_TARGETS[key] for key in keys_in_doubt)
    return Rule(**values, users_own=users_own)


def rule_rows() -> Mapping[str, Raw]:
    """The package's rows by id, merged but unread, for others to be `like`."""
    return rows.package_tables(FILES, "rule", "id")


def known_rules(extra: Iterable[Rule] = ()) -> Mapping[str, Rule]:
    """Every rule by id, in the order of the data files; `extra` joins them or takes their place."""
    return Book(rule_rows, _package_rule, {rule.id: rule for rule in extra})


@cache
def _package_rule(name: str) -> Rule:
    return read_rule(rows.package_table(FILES, "rule", "id", name), "rules")
