"""Every flag that the code raises has its words, and no word is of a flag that nobody raises."""

import ast
import re
from pathlib import Path

from xrdorder.quantities.flag_words import FLAGS
from xrdorder.quantities.grades import MISSING_INFORMATION

PACKAGE = Path(__file__).parents[2] / "xrdorder"
HOMES = {"flag_words.py", "grades.py"}  # of the words themselves
TREES = {
    path: ast.parse(path.read_text(encoding="utf-8")) for path in PACKAGE.rglob("*.py") if path.name not in HOMES
}
NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def raised():
    """Names in calls of Flag(...) and .flag(...), where they are written out."""
    for tree in TREES.values():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and node.args:
                of = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
                first = node.args[0]
                if of in ("Flag", "flag") and isinstance(first, ast.Constant) and NAME.fullmatch(str(first.value)):
                    yield str(first.value)


def test_every_flag_that_is_raised_has_its_words():
    found = set(raised())
    assert len(found) > 40  # the search finds them
    assert found <= FLAGS.keys()


def test_every_flag_with_words_is_raised_somewhere():
    texts = {node.value for tree in TREES.values() for node in ast.walk(tree) if isinstance(node, ast.Constant)}
    built = {"slit-not-given", "length-not-given"}  # put together of what is missing
    assert FLAGS.keys() - texts - built == set()


def test_missing_information_is_told_by_flags():
    assert MISSING_INFORMATION.keys() <= FLAGS.keys()


def test_words_are_few():
    """With name and count a flag takes one line of a terminal of 100 columns, two at most of 80."""
    assert max(len(f"12  {name}: {words} (15 samples)") for name, words in FLAGS.items()) <= 100
