"""Every reader against files that nobody meant: a result or one line of complaint, in little time and memory.

``python -m tests.fuzz --minutes 5`` tries all readers by hand, ``--reader cif`` one of them, ``--first 1234`` begins
with a case that was found; the quick tests try a few hundred cases. A case hangs on its number alone.
"""
