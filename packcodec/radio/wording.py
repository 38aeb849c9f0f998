"""A rule in words: every limit with its unit, and 'from memory' on what is not confirmed."""

from collections.abc import Callable
from decimal import Decimal
from typing import TypeAlias

from packcodec.radio.rules import Rule

Told: TypeAlias = Callable[[Rule], str]


def seconds(time_us: int | None) -> str:
    """A time in the unit that reads best, exact."""
    if time_us is None:
        return "?"
    if time_us >= 3_600_000_000 and time_us % 3_600_000_000 == 0:
        return f"{time_us // 3_600_000_000} h"
    for unit_us, unit in ((1_000_000, "s"), (1_000, "ms")):
        if time_us >= unit_us:
            return f"{time_us / unit_us:.13g} {unit}"
    return f"{time_us} µs"


def hertz(frequency_hz: int | None) -> str:
    """A frequency in MHz, kHz or Hz, to ten figures; "?" for None."""
    if frequency_hz is None:
        return "?"
    for unit_hz, unit in ((1_000_000, "MHz"), (1_000, "kHz")):
        if frequency_hz >= unit_hz:
            return f"{frequency_hz / unit_hz:.10g} {unit}"
    return f"{frequency_hz} Hz"


def reference(name: str | None) -> str:
    """ERP and EIRP in their usual capitals."""
    return {"erp": "ERP", "eirp": "EIRP"}.get(name or "", name or "?")


def _plain(value: float) -> str:
    """Six figures without a power of ten."""
    return format(Decimal(f"{value:.6g}"), "f")


def _dwell_window(rule: Rule) -> str:
    if rule.dwell_window_per_channel:
        return f"{seconds(rule.dwell_us)} × the hopping channels"
    return seconds(rule.dwell_window_us) if rule.dwell_window_us else "one visit"


def _bandwidth(rule: Rule, bound_hz: int | None) -> str:
    measure = f" ({rule.bandwidth_measure})" if rule.bandwidth_measure else ""
    return hertz(bound_hz) + measure


def _listen(rule: Rule) -> str:
    parts = [seconds(rule.listen_us) if rule.listen_us else "required"]
    if rule.listen_threshold_dbm is not None:
        parts.append(f"at {rule.listen_threshold_dbm:g} dBm")
    return ", ".join([*parts, rule.listen_threshold] if rule.listen_threshold else parts)


# Label, the attributes behind the value (the first decides whether the row has it), the value.
DESCRIBED: tuple[tuple[str, tuple[str, ...], Told], ...] = (
    (
        "power",
        ("power_dbm", "power_reference"),
        lambda r: f"{r.power_dbm:g} dBm {reference(r.power_reference)}",
    ),
    ("EIRP at most", ("eirp_most_dbm",), lambda r: f"{r.eirp_most_dbm:g} dBm EIRP"),
    (
        "antenna gain",
        ("antenna_gain_most_dbi",),
        lambda r: f"up to {r.antenna_gain_most_dbi:g} dBi; above it, less power dB for dB",
    ),
    (
        "density",
        ("density_dbm", "density_per_hz", "density_reference"),
        lambda r: (
            f"{r.density_dbm:g} dBm {reference(r.density_reference)}"
            f" in any {hertz(r.density_per_hz)}"
        ),
    ),
    (
        "duty cycle",
        ("duty_cycle", "duty_window_us"),
        lambda r: (
            f"{_plain(float((r.duty_cycle or 0) * 100))} % = {seconds(r.duty_budget_us)}"
            f" in any {seconds(r.duty_window_us)}, {r.duty_scope}"
        ),
    ),
    (
        "dwell",
        ("dwell_us", "dwell_window_us"),
        lambda r: f"{seconds(r.dwell_us)} on one channel in {_dwell_window(r)}",
    ),
    ("longest transmission", ("longest_us",), lambda r: seconds(r.longest_us)),
    ("longest exchange", ("dialogue_us",), lambda r: seconds(r.dialogue_us)),
    (
        "longest transmission, advised",
        ("advised_longest_us",),
        lambda r: seconds(r.advised_longest_us),
    ),
    ("pause", ("pause_us",), lambda r: f"{seconds(r.pause_us)} between transmissions"),
    (
        "time on air",
        ("on_time_us", "on_time_window_us", "on_time_per_hz"),
        lambda r: (
            f"{seconds(r.on_time_us)} in any {seconds(r.on_time_window_us)}"
            f" per {hertz(r.on_time_per_hz)}"
        ),
    ),
    ("listen before talk", ("listen", "listen_us", "listen_threshold_dbm"), _listen),
    ("hopping channels", ("channels_least",), lambda r: f"at least {r.channels_least}"),
    ("bandwidth at least", ("bandwidth_least_hz",), lambda r: _bandwidth(r, r.bandwidth_least_hz)),
    ("bandwidth at most", ("bandwidth_most_hz",), lambda r: _bandwidth(r, r.bandwidth_most_hz)),
    ("adaptive power control", ("adaptive_power",), lambda _: "required"),
    ("cipher", ("cipher_forbidden",), lambda _: "forbidden: the meaning must stay public"),
    ("call sign", ("call_sign_us",), lambda r: f"at least every {seconds(r.call_sign_us)}"),
)


def label(attribute: str) -> str:
    """What an attribute of a rule is called where its limits are told."""
    named = (name for name, behind, _ in DESCRIBED if attribute in behind)
    return next(named, attribute.removesuffix("s_hz"))


def _is_set(value: object) -> bool:
    return value is not None and value is not False


def describe(rule: Rule) -> tuple[tuple[str, str], ...]:
    """The limits of a rule as (label, value) pairs, every value from memory marked as such."""
    edges = ", ".join(f"{hertz(low)} to {hertz(high)}" for low, high in rule.bands_hz)
    return (
        ("band", rule.told(edges, "bands_hz")),
        *(
            (name, rule.told(tell(rule), *attributes))
            for name, attributes, tell in DESCRIBED
            if _is_set(getattr(rule, attributes[0]))
        ),
    )
