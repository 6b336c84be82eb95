"""A table knows its cells and nothing of where it is drawn."""

import pytest

from xrdorder.quantities.tables import Cell, Heading, Table


def test_cells_and_heads_from_words_and_whole():
    table = Table.of([Heading("sample", numeric=False), ("a", "nm")], [["first", Cell("0.5288(1)", "0.5288")]], ["u"])
    assert [one.label for one in table.head] == ["sample", "a (nm)"]
    assert table.texts() == [("first", "0.5288(1)")] and table.rows[0][1].key == "0.5288"


def test_a_short_row_takes_the_rest_of_the_line_and_a_long_one_is_refused():
    assert 'colspan="2"' in Table.of(["a", "b", "c"], [["x", "failed: no counts"]])._repr_html_()
    with pytest.raises(ValueError, match="a row has 3 cells"):
        Table.of(["a"], [["1", "2", "3"]])


def test_nothing_of_a_cell_passes_for_markup():
    assert "<script>" not in Table.of(["a"], [["<script>"]], ["<script>"])._repr_html_()
