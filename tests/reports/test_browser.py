"""The page in a real browser: sorts, filters, zooms, shows the right number, complains of nothing."""

import base64
import json
import re
from dataclasses import replace

import numpy as np
import pytest

from tests.reports import browser, made
from xrdorder.reports import of_variants
from xrdorder.reports.writing import write_report

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(browser.PROGRAM is None, reason=browser.MISSING),
]

WATCH = """<script>window.seen = [];
window.addEventListener("error", (e) => seen.push("error: " + e.message));
window.addEventListener("securitypolicyviolation", (e) => seen.push("request: " + e.blockedURI));
console.error = (...words) => seen.push("console: " + words.join(" "));</script>"""

ACT = """
  const said = {};
  const rows = () => Array.from(document.querySelectorAll("#results tbody tr"));
  const first = () => rows().filter((row) => !row.hidden).map((row) => row.cells[0].textContent);
  said.start = first();
  const order = document.querySelectorAll("#results thead button")[4];
  order.click(); said.up = first();
  order.click(); said.down = first();
  said.sorted = order.parentElement.getAttribute("aria-sort");
  const filter = document.getElementById("filter");
  filter.value = "b 675"; filter.dispatchEvent(new Event("input")); said.filtered = first();
  filter.value = ""; filter.dispatchEvent(new Event("input")); said.all = first().length;
  document.getElementById("sections").open = true;
  const details = document.querySelector("details[data-fit]");
  details.open = true;
  await new Promise((done) => setTimeout(done, 300));
  const [lanes, upper, lower] = details.plots();
  const span = (u) => [u.scales.x.min, u.scales.x.max];
  said.whole = span(upper);
  details.querySelector("[data-do=in]").click();
  await new Promise((done) => setTimeout(done, 100));
  said.zoomed = span(upper); said.linked = span(lower); said.lanes = span(lanes);
  details.querySelector("[data-do=all]").click();
  await new Promise((done) => setTimeout(done, 100));
  upper.setCursor({ left: upper.valToPos(38.00, "x"), top: 50 });
  await new Promise((done) => setTimeout(done, 100));
  said.read = details.querySelector(".read").textContent;
  const scale = details.querySelector("select");
  for (const name of ["log", "linear", "root"]) { scale.value = name; scale.dispatchEvent(new Event("change")); }
  await new Promise((done) => setTimeout(done, 100));
  const box = (u) => u.over.getBoundingClientRect();
  const [above, high, low] = details.plots();
  const off = (u) => Math.abs(box(high).left - box(u).left) + Math.abs(box(high).right - box(u).right);
  said.aligned = off(low) + off(above);
  said.above = box(above).bottom <= box(high).top && box(high).bottom <= box(low).top;
  said.fills = high.bands.length;
  said.numbers = (high.axes[1]._values || []).filter(Boolean).length;
  said.phases = details.querySelector(".phases").textContent;
  said.charts = details.querySelectorAll(".uplot").length;
  said.hurt = window.hurt === undefined;
  said.seen = window.seen;
  return said;
"""


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    page = next(p for p in write_report(made.opened(folder, made.HOSTILE), ["page"]))
    return browser.act(page.read_text(encoding="utf-8"), ACT, folder, before=WATCH)


def test_nothing_fails_and_nothing_is_asked_of_a_network(said):
    assert "failed" not in said, said
    assert said["seen"] == [] and said["hurt"]


def test_the_table_sorts_both_ways_and_filters(said):
    names = [piece[0] for piece in sorted(made.made.PIECES, key=lambda piece: piece[4])]
    assert said["up"] == names and said["down"] == names[::-1]
    assert said["sorted"] == "descending"
    assert said["filtered"] == ["B-675"] and said["all"] == len(names)


def test_the_fit_zooms_with_its_residual(said):
    low, high = said["whole"]
    assert said["zoomed"] == pytest.approx([low + (high - low) / 4, high - (high - low) / 4], abs=0.05)
    assert said["linked"] == pytest.approx(said["zoomed"], abs=0.05)
    assert said["lanes"] == pytest.approx(said["zoomed"], abs=0.05)
    assert said["charts"] == 3 and said["above"]  # lanes of phases, pattern, residual
    assert said["fills"] == len({line[0] for line in made.made.LINES})  # a filled band for each phase
    assert said["aligned"] < 1.0  # pixels: the residual stands below its point, the lanes above


def test_counts_and_phases_can_be_read(said):
    assert said["numbers"] >= 3
    assert "Nb₃Sn" in said["phases"] and "Nb" in said["phases"].split()


def test_the_right_number_stands_at_the_right_point(said):
    curves = made.made.curves()
    k = int(np.argmin(np.abs(curves["two_theta"].values - 38.00)))
    assert f"counts {round(float(curves['observed'][k]))} ·" in said["read"]
    assert "Nb₃Sn (2 1 0), d 0.23660" in said["read"]  # 0.0770297 nm / sin 19°


WIDTHS = """
  const frame = document.createElement("iframe");
  frame.style = "border: 0; width: WIDEpx; height: 800px";
  frame.srcdoc = PAGE;
  await new Promise((done) => { frame.onload = done; document.body.append(frame); });
  const inner = frame.contentDocument;
  inner.querySelectorAll("details").forEach((one) => { if (!one.dataset.fit) one.open = true; });
  const details = inner.querySelector("details[data-fit]");
  details.open = true;
  await new Promise((done) => setTimeout(done, 500));
  const wide = frame.contentWindow.innerWidth;
  const out = Array.from(inner.querySelectorAll("body *")).filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width && (box.right > wide + 1 || box.left < -1) && !one.matches(".skip") && !(SCROLLS);
  });
  const charts = details.querySelectorAll(".uplot").length;
  const whole = inner.documentElement.scrollWidth;
  return { wide, whole, out: out.map((one) => one.tagName + "." + one.className), charts };
"""
PX_PER_MM = 96 / 25.4  # CSS Values and Units, level 3
A4_MM, MARGIN_MM = (210, 297), 14


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """With a name that does not break and is as long as names may be in a file."""
    opened = made.opened(tmp_path_factory.mktemp("study"))
    names = opened.results["sample"].values.astype(object)
    names[-1] = "a_name_" * 20
    opened = replace(opened, results=opened.results.assign_coords(sample=names))
    return write_report(opened, ["page"])[0].read_text(encoding="utf-8")


def beyond(text, width, folder, scrolls):
    blank = "<!doctype html><html><head></head><body style='margin: 0'></body></html>"
    quoted = json.dumps(text).replace("<", "\\u003c")
    script = WIDTHS.replace("WIDE", str(round(width))).replace("SCROLLS", scrolls).replace("PAGE", quoted)
    return browser.act(blank, script, folder)


def test_nothing_is_cut_on_a_phone(page, tmp_path):
    said = beyond(page, 360, tmp_path, 'one.closest(".wide") && !one.matches(".wide")')
    assert said == {"wide": 360, "whole": 360, "out": [], "charts": 3}


@pytest.mark.parametrize("side", [0, 1], ids=["upright", "across"])
def test_nothing_is_cut_on_paper(page, tmp_path, side):
    text = page.replace("@media print {", "@media all {")
    # charts are made narrower when the browser prints; the table has sheets across
    scrolls = 'one.closest(".plot")' + (' || one.closest("#samples")' if side == 0 else "")
    said = beyond(text, (A4_MM[side] - 2 * MARGIN_MM) * PX_PER_MM, tmp_path, scrolls)
    assert said["wide"] > 600 and said["out"] == []


NAMES = """
  const said = { nameless: [], unseen: [], levels: [] };
  document.querySelectorAll("details").forEach((one) => { one.open = true; });
  await new Promise((done) => setTimeout(done, 500));
  const named = (one) => one.textContent.trim() || one.getAttribute("aria-label") || (one.labels || []).length;
  for (const one of document.querySelectorAll("a[href], button, input, select, summary, [tabindex]")) {
    const what = one.tagName + " " + one.textContent.trim().slice(0, 20);
    if (!named(one)) said.nameless.push(what);
    one.focus({ focusVisible: true });
    const style = getComputedStyle(one);
    const seen = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    if (document.activeElement !== one || !seen) said.unseen.push(what);
  }
  said.pictures = Array.from(document.querySelectorAll("img, [role=img]"), (one) => one.alt || one.ariaLabel || "");
  said.heads = Array.from(document.querySelectorAll("th"), (one) => one.scope);
  said.levels = Array.from(document.querySelectorAll("h1, h2, h3, h4"), (one) => Number(one.tagName[1]));
  return said;
"""


def test_whoever_uses_keys_or_a_screen_reader_finds_everything(page, tmp_path):
    said = browser.act(page, NAMES, tmp_path)
    assert said["nameless"] == [] and said["unseen"] == []
    assert said["pictures"] and all(len(words) > 20 for words in said["pictures"])
    assert set(said["heads"]) == {"col", "row"}
    assert said["levels"].count(1) == 1
    assert all(b - a <= 1 for a, b in zip(said["levels"], said["levels"][1:], strict=False))


DARK = "--blink-settings=preferredColorScheme=0"
CONTRAST = """
  document.querySelectorAll("details").forEach((one) => { one.open = true; });
  await new Promise((done) => setTimeout(done, 500));
  const numbers = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((c) => c / 255)
    .map((c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
    .reduce((sum, c, k) => sum + c * [0.2126, 0.7152, 0.0722][k], 0);
  const ground = (one) => { for (let up = one; up; up = up.parentElement) {
    const found = numbers(getComputedStyle(up).backgroundColor); if (found.length < 4 || found[3] > 0) return found; }
    return [255, 255, 255]; };
  const weak = [];
  for (const one of document.querySelectorAll("p, dd, dt, td, th, h1, h2, h3, a, summary, button, figcaption, li")) {
    if (!one.textContent.trim() || !one.getBoundingClientRect().width) continue;
    const [a, b] = [light(numbers(getComputedStyle(one).color)), light(ground(one))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) weak.push(one.tagName + " " + ratio.toFixed(1) + " " + one.textContent.trim().slice(0, 20));
  }
  return { weak, paper: light(ground(document.body)), seen: window.seen };
"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_in_both_schemes(page, tmp_path, scheme):
    said = browser.act(page, CONTRAST, tmp_path, before=WATCH, more=[DARK] if scheme == "dark" else [])
    assert "failed" not in said, said
    assert said["seen"] == []
    assert (said["paper"] < 0.05) == (scheme == "dark")
    assert said["weak"] == []  # 4.5 to 1: Web Content Accessibility Guidelines 2.1, criterion 1.4.3


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_first_column_stays_and_numbers_stand_to_the_right(page, tmp_path, width):
    script = """
      const table = document.getElementById("results"), region = table.parentElement;
      region.scrollLeft = 400;
      await new Promise((done) => setTimeout(done, 200));
      const name = table.tBodies[0].rows[0].cells[0].getBoundingClientRect();
      const cells = document.querySelectorAll("#results td.number");
      const numbers = Array.from(cells, (one) => getComputedStyle(one).textAlign);
      return { at: name.left - region.getBoundingClientRect().left, numbers,
        answer: document.getElementById("answer").getBoundingClientRect().top < 400 };
    """
    said = browser.act(page, script, tmp_path, more=[f"--window-size={width},900"])
    assert abs(said["at"]) < 1.0 and said["answer"]
    assert said["numbers"] and set(said["numbers"]) == {"right"}


def test_fifteen_samples_print_on_eight_pages_at_most(tmp_path):
    pieces = [
        (f"w{k:02d}", "AB"[k % 2], 625 + 25 * (k % 5), 50 + 10 * k, 0.9 + 4e-3 * k, 0.235 + 5e-4 * k, 15.5 + 0.1 * k)
        for k in range(15)
    ]
    (path,) = write_report(made.opened(tmp_path, pieces=pieces), ["page"])
    assert 2 <= browser.printed_pages(path, tmp_path) <= 8


def test_figures_look_alike_where_the_font_is_missing(page, tmp_path):
    images = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', page)
    texts = [base64.b64decode(one).decode() for one in images]
    assert len(texts) > 5 and not any("<text" in text or "font-family" in text for text in texts)
    image = images[0]
    body = "<!doctype html><html><head></head><body style='margin: 0; font: 30px DejaVu Sans'>{}</body></html>"

    def seen(name, content):
        folders = {hidden: tmp_path / f"{name}-{hidden}" for hidden in (False, True)}
        return [browser.picture(body.format(content), folder, hidden=hidden) for hidden, folder in folders.items()]

    there, hidden = seen("figure", f"<img src='data:image/svg+xml;base64,{image}'>")
    assert there == hidden
    there, hidden = seen("words", "ill")
    assert there != hidden  # the font was really hidden


def test_a_figure_that_fails_leaves_a_page_that_works(tmp_path, monkeypatch):
    def fails(*_, **__):
        raise IndexError("line 12")

    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr(of_variants, "trend_figure", fails)
    (path,) = write_report(made.opened(tmp_path), ["page"])
    said = browser.act(path.read_text(encoding="utf-8"), ACT, tmp_path, before=WATCH)
    assert said["seen"] == [] and said["charts"] == 3
