"""The page in a real browser: sorts, filters, zooms, shows the right number, complains of nothing."""

import json
from dataclasses import replace

import numpy as np
import pytest

from tests.reports import browser, made
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
  const details = document.querySelector("details[data-fit]");
  details.open = true;
  await new Promise((done) => setTimeout(done, 300));
  const [upper, lower] = details.plots();
  const span = (u) => [u.scales.x.min, u.scales.x.max];
  said.whole = span(upper);
  details.querySelector("[data-do=in]").click();
  await new Promise((done) => setTimeout(done, 100));
  said.zoomed = span(upper); said.linked = span(lower);
  details.querySelector("[data-do=all]").click();
  await new Promise((done) => setTimeout(done, 100));
  upper.setCursor({ left: upper.valToPos(38.00, "x"), top: 50 });
  await new Promise((done) => setTimeout(done, 100));
  said.read = details.querySelector(".read").textContent;
  const scale = details.querySelector("select");
  for (const name of ["log", "linear", "root"]) { scale.value = name; scale.dispatchEvent(new Event("change")); }
  await new Promise((done) => setTimeout(done, 100));
  const box = (u) => u.over.getBoundingClientRect();
  const [high, low] = details.plots();
  said.aligned = Math.abs(box(high).left - box(low).left) + Math.abs(box(high).right - box(low).right);
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
    assert said["charts"] == 2
    assert said["aligned"] < 1.0  # pixels: the residual stands below its point


def test_counts_and_phases_can_be_read(said):
    assert said["numbers"] >= 3
    assert "nb3sn" in said["phases"] and "nb" in said["phases"].split()


def test_the_right_number_stands_at_the_right_point(said):
    curves = made.made.curves()
    k = int(np.argmin(np.abs(curves["two_theta"].values - 38.00)))
    assert f"counts {round(float(curves['observed'][k]))} ·" in said["read"]
    assert "nb3sn (2 1 0), d 0.23660" in said["read"]  # 0.0770297 nm / sin 19°


WIDTHS = """
  const frame = document.createElement("iframe");
  frame.style = "border: 0; width: WIDEpx; height: 800px";
  frame.srcdoc = PAGE;
  await new Promise((done) => { frame.onload = done; document.body.append(frame); });
  const inner = frame.contentDocument;
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
    assert said == {"wide": 360, "whole": 360, "out": [], "charts": 2}


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
