"""A second opinion on what was really sent, by counting; shares nothing with the ledger.

Truth is a list of (start, end, scopes) in true time. Limits are plain tuples:
("window", scope, limit, window), ("single", scope, limit), ("pause", scope, pause, times).
"""

Emission = tuple[int, int, tuple[str, ...]]
Rule = tuple[str, str, int, int]


def breaches(emissions: list[Emission], rules: list[Rule], since: int = 0) -> list[str]:
    """Every breach by an emission that ends after `since`."""
    found: list[str] = []
    for kind, scope, first, second in rules:
        ours = sorted((start, end) for start, end, scopes in emissions if scope in scopes)
        for index, (start, end) in enumerate(ours):
            if end <= since:
                continue
            if kind == "single" and end - start > first:
                found.append(f"{scope}: {start}..{end} is longer than {first}")
            if kind == "pause":
                found += [
                    f"{scope}: {start} comes too soon after {a}..{b}"
                    for a, b in ours[:index]
                    if start < b + first + second * (b - a)
                ]
            if kind == "window":
                found += _full_windows(scope, ours, first, second, start, end)
    return found


def _full_windows(
    scope: str, ours: list[tuple[int, int]], limit: int, window: int, start: int, end: int
) -> list[str]:
    # Time on air in a window, as a function of the window's place, bends only where an edge of
    # the window meets an edge of an emission: its greatest value lies at one of these places.
    edges = {start, end, start + window, end + window}
    found = []
    for close in edges:
        total = 0
        for a, b in ours:
            for_part = min(b, close) - max(a, close - window)
            if for_part > 0:
                total += for_part
        if total > limit:
            found.append(f"{scope}: {total} on air in [{close - window}, {close}), limit {limit}")
    return found
