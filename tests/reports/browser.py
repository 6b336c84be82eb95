"""A page in a real browser, with a script of one's own that acts on it and says what it saw."""

import html
import json
import os
import re
import shutil
import subprocess

PROGRAM = shutil.which("chromium") or shutil.which("chromium-browser")
MISSING = "no Chromium on this machine (Debian: package chromium)"
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
)  # fmt: skip

_TELL = """<script>(async () => {{ {act} }})()
.catch((error) => ({{ failed: String(error), seen: window.seen }}))
.then((said) => {{ const out = document.createElement("pre"); out.id = "said";
out.textContent = JSON.stringify(said); document.body.appendChild(out); }});</script>"""


def act(text, script, folder, *, before="", clock=True, more=()):
    """Open a page and run a script at its end, which returns what it has to say.

    Parameters
    ----------
    text : str
        The page.
    script : str
        Body of an asynchronous function.
    folder : Path
        For the page and the profile of the browser.
    before : str
        Markup at the start of the head.
    clock : bool
        The script may wait; time is the browser's own, not that of the wall. Without, seconds are real, and the script
        may wait for nothing that comes after the load of the page.
    more : sequence of str
        Options of the browser.
    """
    head, end = text.index("<head>") + len("<head>"), text.rindex("</body>")
    page = folder / "acted.html"
    page.write_text(text[:head] + before + text[head:end] + _TELL.format(act=script) + text[end:], encoding="utf-8")
    waits = ["--virtual-time-budget=20000"] if clock else []
    words = [PROGRAM, *QUIET, *more, f"--user-data-dir={folder / 'profile'}", *waits, "--dump-dom", page.as_uri()]
    shown = subprocess.run(words, capture_output=True, text=True, timeout=180, check=True).stdout
    found = re.search(r'<pre id="said">(.*?)</pre>', shown, re.S)
    assert found, "the page did not get to its end"
    return json.loads(html.unescape(found[1]))


def printed_pages(page, folder):
    """How many pages of paper it takes."""
    target = folder / "printed.pdf"
    words = [PROGRAM, *QUIET, f"--user-data-dir={folder / 'printing'}", f"--print-to-pdf={target}", page.as_uri()]
    subprocess.run(words, capture_output=True, timeout=180, check=True)
    return len(re.findall(rb"/Type\s*/Page[^s]", target.read_bytes()))


def picture(text, folder, *, hidden=False):
    """What a page looks like, as a picture; with the font of figures hidden from the browser, if asked for."""
    folder.mkdir(parents=True)
    page, target, fonts = (folder / name for name in ("page.html", "picture.png", "fonts.conf"))
    page.write_text(text, encoding="utf-8")
    rule = "<selectfont><rejectfont><glob>*DejaVu*</glob></rejectfont></selectfont>" if hidden else ""
    places = f"<dir>/usr/share/fonts</dir><cachedir>{folder}/cache</cachedir>"
    fonts.write_text(f'<?xml version="1.0"?><fontconfig>{places}{rule}</fontconfig>')
    words = [PROGRAM, *QUIET, f"--user-data-dir={folder / 'profile'}", "--window-size=1100,700"]
    words += [f"--screenshot={target}", page.as_uri()]
    settings = {**os.environ, "FONTCONFIG_FILE": str(fonts)}
    subprocess.run(words, capture_output=True, timeout=180, check=True, env=settings)
    return target.read_bytes()
