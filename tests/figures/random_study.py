"""Studies nobody would think of: any number of samples and lots, any treatments, names and values."""

import string

import numpy as np

HOSTILE = ("<b>bold</b> & $x_1^2$", "$\\alpha$", "50 % (new)", "Ω-draht ß", "a_b^c", "two  spaces", "l'été", "#3")
MOST_SAMPLES, MOST_LOTS = 60, 8


def word(random, longest=40):
    """A name, short or long, tame or not."""
    kind = random.integers(4)
    if kind == 0:
        return str(random.choice(HOSTILE))
    letters = string.ascii_letters + string.digits + ("-_. " if kind > 1 else "")
    length = int(random.integers(1, longest if kind == 3 else 12))
    return "".join(random.choice(list(letters), length)).strip() or "x"


def pieces(random):
    """Samples as `tests.figures.made.results` takes them: name, lot, peak, hours, site order, tin fraction, Tc."""
    count = int(np.exp(random.uniform(0.0, np.log(MOST_SAMPLES))))
    lots = list(dict.fromkeys(word(random, 25) for _ in range(random.integers(1, MOST_LOTS))))
    temperatures = random.uniform(550.0, 800.0, int(random.integers(1, 12)))
    if random.random() < 0.7:
        temperatures = np.round(temperatures / 25.0) * 25.0
    hours = np.exp(random.uniform(np.log(0.5), np.log(2000.0), int(random.integers(1, 6))))
    if random.random() < 0.7:
        hours = np.maximum(np.round(hours / 10.0) * 10.0, 1.0)
    spread = 10.0 ** random.uniform(-4.0, 0.0)
    found = {}
    for k in range(count):
        name = f"{word(random)}-{k}"
        tin = float(np.clip(0.235 + 0.015 * spread * random.standard_normal(), 0.18, 0.255))
        order = float(np.clip(0.92 + 0.05 * spread * random.standard_normal(), 0.5, 1.05))
        found[name] = (
            name, str(random.choice(lots)), float(random.choice(temperatures)), float(random.choice(hours)),
            order, tin, float(16.0 + 3.0 * spread * random.standard_normal()),
        )  # fmt: skip
    return tuple(found.values())
