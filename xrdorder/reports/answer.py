"""The answer in a few lines: what is best, by how much, how sure, what to do next; for the page and the summary."""

from __future__ import annotations

from xrdorder.reports.next_step import next_words
from xrdorder.reports.pictures import Scene

_MOST_WARNED = 3


def answer_lines(scene: Scene) -> list[tuple[str, str]]:
    """Give heading and text of each line of the answer."""
    look = scene.look
    if not look.leader:
        return [("Nothing to compare", f"{look.reason}.")]
    lines = [(f"Highest {'estimated ' * look.estimated}{look.by}", look.leader)]
    margin, clear = look.margin
    if margin:
        lines.append(("By how much", margin))
        sure = f"{'' if clear else 'not '}significant (α = 0.05, all comparisons of the quantity together)"
        lines.append(("How sure", f"{sure}; probability of being higher than the next {look.chance}"))
    if look.measured:
        lines.append(("Measured", look.measured.removeprefix("Measured ")))
    if look.warned:
        names = [f"{name} ({words})" for name, words in list(look.warned.items())[:_MOST_WARNED]]
        more = f" and {len(look.warned) - _MOST_WARNED} more" if len(look.warned) > _MOST_WARNED else ""
        lines.append(("Flags of its samples", f"{', '.join(names)}{more}"))
    words = next_words(scene.plan) if scene.plan is not None else ""
    lines.append(("React next", words or "no treatment can be proposed from these results"))
    return lines
