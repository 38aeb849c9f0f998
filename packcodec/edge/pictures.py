"""Pictures for a page: inline SVG drawn by matplotlib, in one style.

As wide as a phone, so that letters stay readable there; colours that colour-blind people can tell
apart (Okabe and Ito), never without a second sign: a hatch, a mark, a line's kind or a word.
"""

import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from html import escape
from typing import Any

from packcodec.edge.parts import part

BLUE, ORANGE, RED, GREEN, GREY = "#0072B2", "#E69F00", "#D55E00", "#009E73", "#555555"
PALE = "#EEEEEE"
# One for each station in turn: colour, kind of line, mark.
LOOKS = (
    (BLUE, "-", "o"),
    (RED, "--", "s"),
    (GREEN, "-.", "^"),
    (GREY, ":", "D"),
    (ORANGE, (0, (5, 1, 1, 1, 1, 1)), "v"),
)
WIDE_IN = 4.4
STYLE: Mapping[str, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "packcodec",
    "font.family": "sans-serif",
    "font.size": 10,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "legend.fontsize": 9,
    "hatch.linewidth": 0.6,
}
_PROLOG = re.compile(r"^.*?(?=<svg)", re.DOTALL)
_SIZE = re.compile(r'(<svg[^>]*?) width="[^"]*"|(<svg[^>]*?) height="[^"]*"')
_ID = re.compile(r'(\bid="|url\(#|href="#)')


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG with its title, and a line that says what is in it."""

    title: str
    note: str
    svg: str


def legend(axes: Any, columns: int = 3) -> None:
    """A legend above the axes, where anything on them has a label."""
    if not axes.get_legend_handles_labels()[0]:
        return
    axes.legend(
        loc="lower left", bbox_to_anchor=(0, 1), ncols=columns, borderaxespad=0.2, handlelength=2.2
    )


def svg(
    name: str,
    title: str,
    draw: Callable[[Any], None],
    *,
    height_in: float,
    extra: str = "dataset",
) -> str:
    """What `draw` draws on axes, as part of a page: no prolog, no fixed size, ids of its own.

    Raises MissingPartError without matplotlib, which comes with `extra`.
    """
    matplotlib = part("matplotlib", extra)
    figures = part("matplotlib.figure", extra)
    with matplotlib.rc_context(STYLE):
        figure = figures.Figure(figsize=(WIDE_IN, height_in), layout="constrained")
        draw(figure.subplots())
        text = io.StringIO()
        nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
        figure.savefig(text, format="svg", metadata=nothing)
    inline = _PROLOG.sub("", text.getvalue())
    for _ in range(2):
        inline = _SIZE.sub(lambda found: found[1] or found[2], inline, count=1)
    inline = _ID.sub(lambda found: f"{found[1]}{name}-", inline)
    return inline.replace("<svg", f'<svg role="img" aria-label="{escape(title)}"', 1)
