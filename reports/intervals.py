"""A result drawn against its limits in one line: what a customer sees at a glance, in black and white.

The band between the limits is white between two strong lines and grey outside; the result is a mark with its interval (± U).
"""

from __future__ import annotations

from markupsafe import Markup, escape

from reports.wording import worded
from runner.measure.finding import Finding
from runner.notation.visible import visible

WIDTH, HEIGHT = 150.0, 12.0  # units of the picture; its size is the page's affair
ROOM = 0.35  # of what is shown: beyond the limits, or beyond a result that is outside of them
EDGE = 4.0


def interval_svg(finding: Finding | None) -> Markup:
    """The picture, or nothing where there is no value or no limit."""
    if finding is None or finding.value is None or finding.expanded_uncertainty is None:
        return Markup("")
    low, high = finding.lower, finding.upper
    if low is None and high is None:
        return Markup("")
    begin, end = finding.value - finding.expanded_uncertainty, finding.value + finding.expanded_uncertainty
    seen = [begin, end, *(limit for limit in (low, high) if limit is not None)]
    room = ROOM * max(max(seen) - min(seen), 1e-9)
    least, most = min(seen) - room, max(seen) + room

    def x(value: float) -> float:
        return EDGE + (WIDTH - 2 * EDGE) * (value - least) / (most - least)

    parts = [f'<line x1="{EDGE}" y1="6" x2="{WIDTH - EDGE}" y2="6" stroke="#999" stroke-width="0.5"/>']
    outside = [(least, low)] if low is not None else []
    outside += [(high, most)] if high is not None else []
    for one, other in outside:
        parts += [
            f'<rect x="{x(one):.2f}" y="1" width="{x(other) - x(one):.2f}" height="10" fill="#d0d0d0"/>',
        ]
    parts += [
        f'<line x1="{x(limit):.2f}" y1="0" x2="{x(limit):.2f}" y2="12" stroke="#000" stroke-width="1.2"/>'
        for limit in (low, high)
        if limit is not None
    ]
    middle = x(finding.value)
    parts += [
        f'<path d="M{x(begin):.2f} 3V9M{x(begin):.2f} 6H{x(end):.2f}M{x(end):.2f} 3V9" fill="none" stroke="#000" '
        'stroke-width="1.3"/>',
        f'<path d="M{middle - 2.6:.2f} 6L{middle:.2f} 2.8L{middle + 2.6:.2f} 6L{middle:.2f} 9.2Z" fill="#000"/>',
    ]
    text = worded(finding)
    title = escape(visible(f"{text.value} ± {text.uncertainty} {text.unit}, limits {text.limits}"))
    picture = f'<svg class="interval" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img"><title>{title}</title>{"".join(parts)}</svg>'
    return Markup(picture)
