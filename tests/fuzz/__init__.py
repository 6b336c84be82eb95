"""Damaged, hostile and interrupted input, made at random: a result or one line of complaint, in little time and memory.

``python -m tests.fuzz --minutes 5`` tries all readers by hand, ``--reader cif`` one of them, ``--first 1234`` begins
with a case that was found; the quick tests try a few hundred cases. A case hangs on its number alone. ``python -m
tests.fuzz.stored_files`` damages results, kills runs and fills the disk.
"""
