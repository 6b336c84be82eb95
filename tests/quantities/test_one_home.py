"""What a quantity is called and its unit stand in the registry and nowhere else."""

import ast
from collections.abc import Iterator
from pathlib import Path

import xrdorder
from xrdorder.quantities.registry import QUANTITIES

PACKAGE = Path(xrdorder.__file__).parent
HOME = PACKAGE / "quantities" / "registry.py"
NAMES = {name for one in QUANTITIES.values() for name in (one.name, one.column)}
UNITS = {unit for one in QUANTITIES.values() for unit in (one.unit, one.people.unit, one.differences.unit) if unit}
SYMBOLS = {one.symbol for one in QUANTITIES.values()}
WORDS = UNITS | {text for one in QUANTITIES.values() for text in (one.noun, one.title, one.label)} - NAMES - SYMBOLS
ELSEWHERE = {
    # curves and lines of a sample's file: attributes stand with their variables, and no fit is redone for a word
    "fitting",
}


def literals(tree: ast.AST) -> Iterator[tuple[int, list[str]]]:
    """Line and texts of everything that puts texts side by side: entries of tables, tuples, calls."""
    named = constants(tree)
    for node in ast.walk(tree):
        groups: list[list[ast.expr | None]] = []
        if isinstance(node, ast.Dict):
            groups = [[key, *parts(value)] for key, value in zip(node.keys, node.values, strict=True)]
        elif isinstance(node, ast.Tuple | ast.List):
            groups = [list(node.elts)]
        elif isinstance(node, ast.Call):
            groups = [[*node.args, *(keyword.value for keyword in node.keywords)]]
        for group in groups:
            values = [named.get(x.id) if isinstance(x, ast.Name) else getattr(x, "value", None) for x in group]
            texts = [value for value in values if isinstance(value, str)]
            if len(texts) > 1:
                yield node.lineno, texts


def constants(tree: ast.AST) -> dict[str, object]:
    """Texts that a module gives a name, also several in one line."""
    found: dict[str, object] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign):
            target, value = node.targets[0], node.value
            pairs = zip(getattr(target, "elts", [target]), getattr(value, "elts", [value]), strict=False)
            found |= {k.id: v.value for k, v in pairs if isinstance(k, ast.Name) and isinstance(v, ast.Constant)}
    return found


def parts(value: ast.expr) -> list[ast.expr]:
    if isinstance(value, ast.Tuple | ast.List):
        return list(value.elts)
    if isinstance(value, ast.Call):
        return [*value.args, *(keyword.value for keyword in value.keywords)]
    return [value]


def named_beside(source: str) -> list[tuple[int, list[str]]]:
    return [
        (line, texts)
        for line, texts in literals(ast.parse(source))
        if any(text in NAMES for text in texts) and any(text in WORDS for text in texts)
    ]


def test_a_second_table_would_be_found():
    assert named_beside('SHOWN = {"tin_fraction": ("tin", "at.%")}')
    assert named_beside('X = [("Tc_K", "Tc, estimated")]') and named_beside('Shown("a_nm", unit="nm")')
    assert named_beside('SIZE, TC = "domain_size_nm", "Tc_K"\nResponse(SIZE, "domain size", "nm")')
    assert not named_beside('ORDER = ("a_nm", "site_order")')


def test_names_stand_beside_units_and_nouns_in_the_registry_only():
    found = [
        f"{path.relative_to(PACKAGE)}:{line}: {texts}"
        for path in sorted(PACKAGE.rglob("*.py"))
        if path != HOME and path.relative_to(PACKAGE).parts[0] not in ELSEWHERE
        for line, texts in named_beside(path.read_text(encoding="utf-8"))
    ]
    assert found == []
