"""How often does Python look for objects that refer to each other and to which nothing refers any more?"""

import atexit
import gc

_NEW_OBJECTS = 100_000
"""Objects between two searches instead of 700: a figure alone makes tens of thousands, few of them to be thrown away,
and searches took a fifth of the time. So many take some ten megabytes."""


def collect_seldom() -> None:
    """Let this process search seldom, and not at its end, where that takes half a second and serves nobody."""
    gc.set_threshold(_NEW_OBJECTS)
    atexit.register(gc.freeze)
