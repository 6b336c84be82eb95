"""The answer in a few lines: what is best, by how much, how sure, what to do next; for the page and the summary."""

from __future__ import annotations

from xrdorder.comparison.wording import manner, probability_words
from xrdorder.reports.next_step import next_words
from xrdorder.reports.pictures import Scene

_MOST_WARNED = 3


def answer_lines(scene: Scene) -> list[tuple[str, str]]:
    """Give heading and text of each line of the answer."""
    look, ahead = scene.look, scene.look.ahead
    if ahead is None:
        return [("Nothing to compare", f"{look.reason}.")]
    lines = [(f"Highest {'estimated ' * look.estimated}{look.by}", look.leader)]
    amount = manner(ahead.quantity).amount(ahead.value, ahead.u, signed=True)
    lines.append(("By how much", f"over {ahead.second} by {amount}"))
    sure = f"{'' if ahead.distinguishable else 'not '}significant (α = 0.05, all comparisons of the quantity together)"
    chance = probability_words(ahead.probability_positive)
    lines.append(("How sure", f"{sure}; probability of being higher than the next {chance}"))
    if look.measured:
        lines.append(("Measured", look.measured.removeprefix("Measured ")))
    if look.warned:
        names = [f"{name} ({words})" for name, words in list(look.warned.items())[:_MOST_WARNED]]
        more = f" and {len(look.warned) - _MOST_WARNED} more" if len(look.warned) > _MOST_WARNED else ""
        lines.append(("Flags of its samples", f"{', '.join(names)}{more}"))
    words = next_words(scene.plan) if scene.plan is not None else ""
    lines.append(("React next", words or "no treatment can be proposed from these results"))
    return lines
