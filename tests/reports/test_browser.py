"""The page in a real browser: sorts, filters, zooms, shows the right number, complains of nothing."""

import json
import re
import shutil
import subprocess

import numpy as np
import pytest

from tests.reports import made
from xrdorder.reports.writing import write_report

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine (Debian: package chromium)"),
]
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip

WATCH = """<script>window.seen = [];
window.addEventListener("error", (e) => seen.push("error: " + e.message));
window.addEventListener("securitypolicyviolation", (e) => seen.push("request: " + e.blockedURI));
console.error = (...words) => seen.push("console: " + words.join(" "));</script>"""

ACT = """<script>
(async () => {
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
  const out = document.createElement("pre");
  out.id = "said"; out.textContent = JSON.stringify(said);
  document.body.appendChild(out);
})().catch((error) => { const out = document.createElement("pre"); out.id = "said";
  out.textContent = JSON.stringify({ failed: String(error), seen: window.seen }); document.body.appendChild(out); });
</script>"""


@pytest.fixture(scope="module")
def said(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    page = next(p for p in write_report(made.opened(folder, made.HOSTILE), ["page"]))
    text = page.read_text(encoding="utf-8")
    watched = folder / "watched.html"
    text = text.replace("<head>", f"<head>{WATCH}", 1).replace("</body>", f"{ACT}</body>", 1)
    watched.write_text(text, encoding="utf-8")
    words = [BROWSER, *QUIET, f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=20000", "--dump-dom"]
    shown = subprocess.run([*words, watched.as_uri()], capture_output=True, text=True, timeout=180, check=True).stdout
    found = re.search(r'<pre id="said">(.*?)</pre>', shown, re.S)
    assert found, "the page did not get to its end"
    return json.loads(found[1].replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&"))


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
