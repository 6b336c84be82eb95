"""The page says what the results say, and takes nobody's words for markup."""

import hashlib
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files

import numpy as np
import pytest

from tests.figures import made as results
from tests.reports import made
from xrdorder.cli.console import rendered
from xrdorder.comparison.leading import leading
from xrdorder.comparison.study_comparison import compare_study
from xrdorder.comparison.wording import manner
from xrdorder.exceptions import StudyError, UnknownNameError
from xrdorder.explanation.explanation import explain, quantities_table
from xrdorder.figures.counts import TITLES
from xrdorder.planning import plan_words
from xrdorder.quantities.formatting import rounded
from xrdorder.quantities.tables import Entry
from xrdorder.reports import gallery, of_variants, pictures
from xrdorder.reports import page as page_module
from xrdorder.reports.answer import answer_lines
from xrdorder.reports.first_look import first_look
from xrdorder.reports.methods import PLOTTING_SHA256
from xrdorder.reports.page import page as make_page
from xrdorder.reports.pictures import Scene
from xrdorder.reports.writing import write_report
from xrdorder.results.study_table import study_table
from xrdorder.views.explanation import about_parts, origin_parts


class Reader(HTMLParser):
    """What a browser would make of it: tags with their attributes, text, balance."""

    VOID = frozenset(("meta", "img", "input", "br", "link"))

    def __init__(self):
        super().__init__()
        self.tags, self.open, self.text, self.scripts = [], [], [], {}
        self.inside = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)
        if tag == "script":
            self.inside = dict(attrs).get("id", "code")

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, f"</{tag}> closes another"
        if tag == "script":
            self.inside = ""

    def handle_data(self, data):
        if self.inside:
            self.scripts[self.inside] = self.scripts.get(self.inside, "") + data
        else:
            self.text.append(data)


def read(text):
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    title = f"Made {made.HOSTILE}"
    return title, write_report(made.opened(folder, title))


@pytest.fixture(scope="module")
def page(written):
    return read(next(p for p in written[1] if p.suffix == ".html").read_text(encoding="utf-8"))


def test_page_summary_figures_captions_and_table_are_written(written):
    names = [path.name for path in written[1]]
    assert (*names[:3], names[-1]) == ("report.html", "summary.pdf", "summary.html", "table.csv")
    names = [names[0], *names[3:]]
    figures = [name.removesuffix(".svg") for name in names[1:-1:2]]
    assert names[1:-1] == [f"{figure}.{ending}" for figure in figures for ending in ("svg", "txt")]
    assert {"differences", "treatment", "published", "trends", "relations", "budget"} <= set(figures)
    # nothing to make them of
    assert not {"measured", "schedules", "map", "trade-off", "currents", "kramer"} & set(figures)
    table = next(p for p in written[1] if p.suffix == ".csv").read_text(encoding="utf-8").splitlines()
    assert len(table) == 1 + len(results.PIECES)


def test_words_of_users_stay_text(written, page):
    title, _ = written
    text = "".join(page.text)
    assert title in text  # read as text, as it was given
    assert made.HOSTILE in text  # of a flag
    assert not [attrs for tag, attrs in page.tags if "onerror" in attrs]
    sources = [attrs.get("src", "") for tag, attrs in page.tags if tag in ("img", "script")]
    assert all(not source or source.startswith("data:image/svg+xml;base64,") for source in sources)


def test_the_page_asks_no_network(page):
    for tag, attrs in page.tags:
        for name in ("src", "href", "action", "srcset", "poster"):
            assert not re.match(r"(https?:)?//", attrs.get(name) or ""), (tag, attrs)
    policy = next(a["content"] for tag, a in page.tags if tag == "meta" and "http-equiv" in a)
    assert policy.startswith("default-src 'none'")


def test_verdicts_stand_first_with_what_is_clear(page):
    look = first_look(results.results())
    text = " ".join("".join(page.text).split())
    assert text.index("Highest estimated") < text.index("How sure") < text.index("React next") < text.index("Filter")
    assert look.leader and look.leader in text
    d = look.ahead
    how = manner(d.quantity)
    said = f"over {d.second} by {rounded(how.scale * d.value, how.scale * d.u, how.unit, signed=True)}"
    after = text[text.index(said) :].removeprefix(said).removeprefix(" How sure").lstrip()
    assert d.first == look.leader and after.startswith("significant" if d.distinguishable else "not significant")


def test_the_page_shows_of_a_comparison_what_compare_shows(page):
    parts = compare_study(results.results()).parts(details=True)
    text = " ".join("".join(page.text).split())
    place = text.index("Comparisons", text.index("remark below"))
    for part in parts:  # the same words, rows and numbers, in the same order
        words = [part] if isinstance(part, str) else [part.title, *(cell for row in part.texts() for cell in row)]
        for word in filter(None, (" ".join(word.split()) for word in words)):
            place = text.index(word, place) + len(word)
    shown = " ".join(rendered(*parts, width=100).split())
    assert all(" ".join(part.split()) in shown for part in parts if isinstance(part, str))


def test_a_section_says_of_a_sample_what_explain_says(page, tmp_path):
    told = explain(made.opened(tmp_path).sample("A-650-a"))
    text = " ".join("".join(page.text).split())
    place = text.index("A-650-a", text.index("More figures"))
    for part in (*about_parts(told)[1:], quantities_table(told), *origin_parts(told)):
        words = [part] if isinstance(part, str) else [part.text] if isinstance(part, Entry) else part.texts()[0]
        for word in filter(None, (" ".join(word.split()) for word in words)):
            place = text.index(word, place)


def test_the_first_look_warns_of_what_speaks_against_the_one_ahead():
    found = results.results()
    assert first_look(found).warned == {}
    names = [str(name) for name in found["sample"].values]
    quality, flags = found["quality"].values.copy(), found["flag_messages"].values.copy()
    k = names.index("A-700")
    quality[k] = "use with care: 2 unindexed lines"
    flags[k] = json.dumps([[name, "said"] for name in ("one", "two", "two", "three", "four")])
    flags[names.index("B-650")] = json.dumps([["of-another", "said"]])
    shape = found["quality"].dims
    look = first_look(found.assign(quality=(shape, quality), flag_messages=(shape, flags)))
    assert look.leader.startswith("A 700")
    assert look.warned == {"A-700": "use with care, one, two, three, 1 more"}


def test_flags_of_the_one_ahead_stand_on_the_page_with_a_way_to_them(tmp_path):
    opened = made.opened(tmp_path)
    flags = opened.results["flag_messages"].copy()
    flags.loc[{"sample": "A-700"}] = json.dumps([["partly-outside-validity", made.HOSTILE]])
    flagged = replace(opened, results=opened.results.assign(flag_messages=flags))
    text, _ = make_page(Scene.of(flagged), [])
    line = re.search(r'<p class="warned">(.*?)</p>', text)[1]
    place = [str(name) for name in opened.results["sample"].values].index("A-700")
    assert line == f'Flags of samples of A 700 °C/50 h: <a href="#sample-{place}">A-700</a> (partly-outside-validity).'


def test_the_leader_stands_against_the_next_and_the_first():
    look = first_look(results.results())
    assert look.leader.startswith("A 700") and look.estimated
    assert look.ahead_and_reference == ["A-700", "A-625"]
    two = first_look(results.results([results.PIECES[0], results.PIECES[3]]))
    assert (two.ahead.first, two.ahead.second) == ("700 °C/50 h", "625 °C/100 h")


def test_a_study_of_one_variant_says_that_there_is_nothing_to_compare():
    look = first_look(results.results(results.PIECES[1:3]))
    assert (look.leader, look.ahead) == ("", None) and look.reason
    assert "One variant only" in str(look.comparison.parts()[0])


def test_cells_sort_by_the_number_they_show():
    table = study_table(results.results())
    for k, heading in enumerate(table.head):
        for row in table.rows:
            if heading.numeric and row[k].key:
                shown = float(re.match(r"-?[\d.]+", row[k].text)[0])
                assert float(row[k].key) == pytest.approx(shown, abs=0.06 * 10 ** len(str(int(shown))) + 0.06)
    place = [heading.words for heading in table.head].index("order")
    orders = {row[0].text: float(row[place].key) for row in table.rows}
    assert orders == pytest.approx({piece[0]: piece[4] for piece in results.PIECES})


def test_patterns_on_the_page_are_those_of_the_fit(page):
    data = json.loads(page.scripts["fit-0"])
    curves, lines = results.curves(), results.lines()
    first, step, number = data["angle"]
    np.testing.assert_allclose(first + step * np.arange(int(number)), curves["two_theta"].values, atol=1e-6)
    # whole counts: the noise of any count is larger than a half
    np.testing.assert_allclose(data["observed"], curves["observed"].values, atol=0.5)
    np.testing.assert_allclose(data["calculated"], curves["calculated"].values, atol=0.5)
    thin = np.unique([*range(0, curves.sizes["two_theta"], data["every"]), curves.sizes["two_theta"] - 1])
    np.testing.assert_allclose(data["background"], curves["background"].values[thin], atol=0.5)
    np.testing.assert_allclose(np.array(data["residual"]) / 100, curves["weighted_residual"].values, atol=0.005)
    parts = [np.zeros(int(number)) for _ in data["parts"]]
    for part, stretches in zip(parts, data["parts"], strict=True):
        for start, counts in stretches:
            part[start : start + len(counts)] = counts
    np.testing.assert_allclose(parts, [curves["part_nb"].values], atol=0.5)
    assert [(data["phases"][p], hkl) for p, _, _, hkl, _, _ in data["lines"]] == [
        (TITLES[str(lines["phase"].values[k])], str(lines["hkl"].values[k]))
        for k in np.argsort(lines["two_theta"].values)
    ]


def test_tables_have_headers_and_figures_have_words(page):
    heads = [attrs for tag, attrs in page.tags if tag == "th"]
    assert heads and all(attrs.get("scope") in ("col", "row") for attrs in heads)
    pictures = [attrs for tag, attrs in page.tags if tag == "img"]
    assert pictures and all(len(attrs["alt"]) > 20 for attrs in pictures)
    assert all(int(attrs["width"]) > 300 and int(attrs["height"]) > 100 for attrs in pictures)
    scrolled = [attrs for tag, attrs in page.tags if "wide" in attrs.get("class", "").split()]
    assert scrolled and all(a["tabindex"] == "0" and a["role"] == "region" and a["aria-label"] for a in scrolled)
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(set(ids)) == len(ids)
    targets = [attrs["href"][1:] for tag, attrs in page.tags if tag == "a"]
    assert set(targets) <= set(ids)


def test_the_plotting_script_is_the_one_of_the_registry():
    script = files("xrdorder.reports").joinpath("vendored/uPlot.iife.min.js").read_bytes()
    assert hashlib.sha256(script).hexdigest() == PLOTTING_SHA256
    licence = files("xrdorder.reports").joinpath("vendored/uPlot.LICENSE").read_text(encoding="utf-8")
    assert "MIT" in licence and "Leon Sorokin" in licence


def test_parts_may_be_asked_for(tmp_path):
    assert [p.name for p in write_report(made.opened(tmp_path), ["tables"])] == ["table.csv"]
    only = write_report(made.opened(tmp_path), ["trends"], "png")
    assert [p.name for p in only] == ["trends.png", "trends.txt"]
    assert only[0].read_bytes().startswith(b"\x89PNG") and len(only[1].read_text(encoding="utf-8")) > 80
    with pytest.raises(UnknownNameError, match="did you mean 'trends'"):
        write_report(made.opened(tmp_path), ["trend"])
    with pytest.raises(UnknownNameError, match="png, svg, pdf"):
        write_report(made.opened(tmp_path), [], "gif")


def test_page_and_figures_agree_on_what_is_more_than_chance():
    # the next is the first of the study: its difference to the leader stands in the table of differences, too
    tc = {"A-625": 16.9, "A-700": 17.0}
    look = first_look(results.results([(*one[:6], tc.get(one[0], 16.0)) for one in results.PIECES]))
    assert (look.ahead.first, look.ahead.second) == ("A 700 °C/50 h", "A 625 °C/100 h")
    drawn = look.to_first[look.ahead.quantity].comparison
    assert look.ahead == drawn.pair(look.ahead.first, look.ahead.second)
    assert len(drawn.first) == 4  # not all ten pairs
    # any other is picked from all pairs
    other = first_look(results.results())
    assert other.ahead.second != other.comparison.reference
    (lead,) = leading(results.results(), [other.ahead.quantity])
    assert other.ahead == lead.difference and lead.pairs == 10


def test_measured_values_stand_beside_the_verdict():
    found = results.results()
    assert first_look(found).measured == ""
    names = ("A-700", "A-650-a", "A-650-b", "B-650")
    table = {
        "measured_sample": np.array(names, dtype=object),
        "measured_quantity": np.array(["Bc2_T"] * 4, dtype=object),
        "measured_temperature_k": np.array([4.2, 4.2, 4.2, 1.9]),
        "measured_value": np.array([23.0, 24.0, 25.0, 30.0]),
        "u_measured_value": np.array([0.2, 0.36, 0.4, 0.2]),
    }
    found = found.drop_dims("measurement").assign({name: ("measurement", column) for name, column in table.items()})
    look = first_look(found)
    assert look.leader.startswith("A 700")
    # mean of the replicates 24.5, u = sqrt(0.36^2 + 0.4^2) / 2 = 0.27; what was measured at 1.9 K does not count
    assert look.measured == "Measured Bc2 at 4.2 K: highest of 2 variants, A 650 °C/100 h with 24.50 ± 0.27 T; " + (
        "A 700 °C/50 h has 23.00 ± 0.20 T, lower by 1.50 ± 0.34: significant."
    )


def test_a_figure_that_fails_costs_itself_and_the_page_says_what_is_missing(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    def fails(*_, **__):
        raise IndexError("line 12\nof something <b>")

    monkeypatch.setattr(of_variants, "trend_figure", fails)
    some = [one for one in gallery.MAKERS if one.name in ("differences", "trends")]
    monkeypatch.setattr(gallery, "MAKERS", some)
    missing = []
    paths = write_report(made.opened(tmp_path), missed=missing.append)
    names = {path.name for path in paths}
    assert {"report.html", "differences.svg", "table.csv"} <= names and "trends.svg" not in names
    (one,) = missing
    assert (one.name, one.reason) == ("trends", "IndexError: line 12 of something <b>")
    assert one.log.parent == tmp_path / "state" / "xrdorder"
    assert "Traceback" in one.log.read_text(encoding="utf-8")
    page = read(next(p for p in paths if p.name == "report.html").read_text(encoding="utf-8"))
    assert "Missing: trends, which could not be drawn (IndexError: line 12 of something <b>)." in "".join(page.text)


@pytest.mark.parametrize("form", ["svg", "png"])
def test_a_figure_that_cannot_be_saved_costs_itself(tmp_path, monkeypatch, form):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    encoded = pictures.encoded

    def full(figure, wanted):
        if wanted == form and any("What uncertainties are made of" in text.get_text() for text in figure.texts):
            raise MemoryError
        return encoded(figure, wanted)

    monkeypatch.setattr(pictures, "encoded", full)
    some = [one for one in gallery.MAKERS if one.name in ("trends", "budget")]
    monkeypatch.setattr(gallery, "MAKERS", some)
    missing = []
    paths = write_report(made.opened(tmp_path), ["page", "figures"], form, missed=missing.append)
    names = {path.name for path in paths}
    assert [one.words.split(" (")[0] for one in missing] == ["budget: out of memory"]
    assert f"trends.{form}" in names and f"budget.{form}" not in names


def test_a_pattern_that_cannot_be_drawn_costs_itself(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(gallery, "MAKERS", [])
    draw, seen = page_module.fit_data, []

    def second_fails(sample):
        seen.append(sample.name)
        if len(seen) == 2:
            raise KeyError("background")
        return draw(sample)

    monkeypatch.setattr(page_module, "fit_data", second_fails)
    missing = []
    (path,) = write_report(made.opened(tmp_path), ["page"], missed=missing.append)
    assert [one.name for one in missing] == [f"fit of {seen[1]}"]
    page = read(path.read_text(encoding="utf-8"))
    assert "The fit is not drawn: KeyError: 'background'." in "".join(page.text)
    assert len([name for name in page.scripts if name.startswith("fit-")]) == len(seen) - 1


def test_the_summary_is_one_sheet_and_a_document_that_can_be_pasted(written):
    title, paths = written
    sheet, document = (next(p for p in paths if p.name == f"summary.{form}") for form in ("pdf", "html"))
    content = sheet.read_bytes()
    assert content.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page[^s]", content)) == 1
    pasted = read(document.read_text(encoding="utf-8"))
    text = " ".join("".join(pasted.text).split())
    assert " ".join(title.split()) in text and not pasted.scripts
    assert text.index("Highest estimated") < text.index("React next") < text.index("A-650-a") < text.index("Figure 1")
    pictures = [attrs for tag, attrs in pasted.tags if tag == "img"]
    assert len(pictures) == 3 and all(one["alt"] for one in pictures)
    assert all(one["src"].startswith("data:image/png;base64,") for one in pictures)
    numbers = [attrs["style"] for tag, attrs in pasted.tags if tag == "td" and "right" in attrs.get("style", "")]
    assert len(numbers) >= 4 * len(results.PIECES)


def test_libraries_and_their_licences_stand_on_the_page(page):
    text = " ".join("".join(page.text).split())
    after = text[text.index("Libraries and licences") :]
    assert all(name in after for name in ("numpy", "matplotlib", "uPlot", "MIT", "BSD"))


def test_what_to_react_next_is_that_of_the_plan(tmp_path):
    scene = Scene.of(made.opened(tmp_path, sizes=(70.0, 90.0, 92.0, 130.0, 85.0, 110.0), samples=results.described()))
    assert scene.plan.lot == "A"  # of the variant ahead
    words = dict(answer_lines(scene))["React next"]
    assert words.startswith("Lot A: ") and plan_words.next_words(scene.plan, 0, 0) in words


def test_single_panels_and_chosen_samples_are_drawn_by_name(tmp_path):
    opened = made.opened(tmp_path, sizes=(70.0, 90.0, 92.0, 130.0, 85.0, 110.0))
    written = write_report(opened, ["differences-tc", "order-lines", "pattern"], "png", "one-column", ["A-650-a"])
    assert {path.name for path in written} == {
        f"{name}.{form}" for name in ("differences-tc", "order-lines", "pattern-A-650-a") for form in ("png", "txt")
    }
    words = {path.stem: path.read_text(encoding="utf-8") for path in written if path.suffix == ".txt"}
    assert words["differences-tc"].startswith("Differences in Tc of all variants")
    assert "of A-650-a (chosen)" in words["order-lines"]
    with pytest.raises(StudyError, match="no sample 'A-65'; did you mean 'A-"):
        write_report(opened, ["order-lines"], samples=["A-65"])


def test_a_figure_without_data_that_is_asked_for_says_why(tmp_path):
    missing = []
    assert write_report(made.opened(tmp_path), ["kramer"], missed=missing.append) == []
    assert [one.words for one in missing] == [
        "kramer: no sample has critical currents at two fields of one temperature (critical_current_a)"
    ]
