"""A report in a real browser: it needs nothing else, and it is there, narrow and wide, by day and by night, and on paper."""

from __future__ import annotations

import json
import re
import shutil
import struct
import subprocess
import time
from pathlib import Path

import pytest

from copytime.report.charts.figures import figures
from copytime.report.charts.palette import DARK as CHARTS_DARK
from copytime.report.charts.palette import LIGHT as CHARTS_LIGHT
from copytime.report.whole.as_html import html
from copytime.report.whole.style import DARK, LIGHT
from tests.conftest import skip_or_fail
from tests.report.charts.test_palette import contrast
from tests.report.whole.made import demo_report, report_on
from tests.support.logbooks import hostile_book

#: What Debian and others call the browser.
_NAMES = ("chromium", "chromium-browser")


class Browser:
    """A browser without a window, with a profile of its own."""

    def __init__(self, program: str, home: Path) -> None:
        self._program, self._home = program, home
        self.log = home / "net.json"

    def run(self, page: Path, *options: str, makes: Path | None = None) -> subprocess.CompletedProcess[str]:
        """Open a page; returns what the browser said. Waits for the file that it ``makes``, which may come later."""
        command = [
            self._program,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
            "--disable-component-update",
            "--no-first-run",
            "--enable-logging=stderr",
            f"--user-data-dir={self._home / 'profile'}",
            f"--log-net-log={self.log}",
            "--net-log-capture-mode=Everything",
            "--host-resolver-rules=MAP * ~NOTFOUND",
            *options,
            page.as_uri(),
        ]
        done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=240)
        for _ in range(100):
            if makes is None or (makes.exists() and makes.stat().st_size):
                break
            time.sleep(0.1)  # reason: the browser writes its file a moment after it has ended
        return done

    def console(self, done: subprocess.CompletedProcess[str]) -> list[str]:
        """List what the page wrote to the console; the browser's own complaints are of no concern."""
        return [line for line in done.stderr.splitlines() if "CONSOLE" in line]

    def asked_for(self) -> set[str]:
        """List the addresses that the page asked for, by the browser's own log of its network.

        What the browser asks of its maker on its own account has no origin; a page from a file has one that is 'null'.
        """
        text = self.log.read_text(encoding="utf-8", errors="replace")
        try:
            events = json.loads(text)["events"]
        except json.JSONDecodeError:  # it was not closed in time: its last line is open
            events = json.loads(text.rstrip().rstrip(",") + "]}")["events"]
        asked = [event["params"] for event in events if "initiator" in event.get("params", {})]
        return {str(one["url"]) for one in asked if one["initiator"] != "not an origin"}


@pytest.fixture
def browser(tmp_path: Path) -> Browser:
    program = next(filter(None, map(shutil.which, _NAMES)), None)
    if program is None:
        skip_or_fail("there is no chromium here")
    assert program is not None
    return Browser(program, tmp_path)


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The report on the demo with its pictures, which take seconds to draw."""
    return html(demo_report(tmp_path_factory.mktemp("demo"), figures))


@pytest.fixture
def page(tmp_path: Path, drawn: str) -> Path:
    path = tmp_path / "report.html"
    path.write_text(drawn, encoding="utf-8")
    return path


def pixels(path: Path) -> tuple[int, int]:
    """Read width and height of a PNG (its specification, 11.2.2)."""
    width, height = struct.unpack(">II", path.read_bytes()[16:24])
    return int(width), int(height)


def corner(path: Path) -> str:
    """Return the colour of the pixel at the upper left of a PNG, as the sheet of styles writes it."""
    from matplotlib.image import imread

    red, green, blue = (round(float(part) * 255) for part in imread(path)[2, 2, :3])
    return f"#{red:02x}{green:02x}{blue:02x}"


#: Lists how each thing in the pictures is painted, as a browser reckons it: what it is, fill, stroke, their opacities.
_PAINT = """const ground=getComputedStyle(document.querySelector('figure')).backgroundColor,seen=new Set();
for(const one of document.querySelectorAll('figure svg use,figure svg path,figure svg rect')){
if(one.closest('clipPath')||(one.closest('defs')&&!one.closest('pattern')))continue;
const s=getComputedStyle(one),letter=(one.getAttribute('href')||'').includes('DejaVu'),
figure=one.closest('pattern')?'pattern':letter?'text':'mark';
seen.add([figure,s.fill,s.fillOpacity,s.stroke,s.strokeOpacity,s.opacity].join('|'))}
seen.add(['text',getComputedStyle(document.querySelector('figcaption')).color,1,'none',1,1].join('|'));
document.title=ground+'~'+[...seen].join('~')"""


def hexed(colour: str) -> str:
    """Write a browser's colour, such as rgb(1, 2, 3), as a sheet of styles does."""
    return "#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour)[:3])


def over(colour: str, ground: str, opacity: float) -> str:
    """Return what is seen of a colour through which the ground shines."""
    pairs = ((int(colour[at : at + 2], 16), int(ground[at : at + 2], 16)) for at in (1, 3, 5))
    return "#" + "".join(f"{round(above * opacity + below * (1 - opacity)):02x}" for above, below in pairs)


def probed(page: Path, script: str) -> Path:
    """Copy a page with a script of the test's own in it, which writes what it finds into the title; the policy goes."""
    text = re.sub(r"<meta http-equiv=.*?>", "", page.read_text(encoding="utf-8"))
    made = page.with_name("probed.html")
    made.write_text(text.replace("</body>", f"<script>{script}</script></body>"), encoding="utf-8")
    return made


def titled(done: subprocess.CompletedProcess[str]) -> str:
    found = re.search(r"<title>(.*?)</title>", done.stdout, re.DOTALL)
    assert found, done.stderr
    return found[1]


def test_it_is_all_there_and_says_nothing_and_asks_for_nothing(browser: Browser, page: Path) -> None:
    done = browser.run(page, "--dump-dom")
    assert browser.console(done) == []
    text = page.read_text(encoding="utf-8")
    for tag in ("table", "caption", "h2", "h3", "svg", "li"):
        assert done.stdout.count(f"<{tag}") == text.count(f"<{tag}"), tag
    assert done.stdout.count("<table") > 20
    assert done.stdout.count("<svg") == done.stdout.count("<figure ") > 5
    assert browser.asked_for() == set()


def test_it_would_ask_for_nothing_without_its_policy_either(browser: Browser, page: Path) -> None:
    bare = probed(page, "document.title='done'")
    assert "Content-Security-Policy" not in bare.read_text(encoding="utf-8")
    assert titled(browser.run(bare, "--dump-dom")) == "done"
    assert browser.asked_for() == set()


def test_the_log_of_the_network_would_show_a_request(browser: Browser, tmp_path: Path) -> None:
    """Without this the test above could not fail."""
    path = tmp_path / "asking.html"
    path.write_text("<!DOCTYPE html><title>a</title><img src='https://quay.example/a.png'><script>console.log('b')</script>")
    done = browser.run(path, "--dump-dom")
    assert browser.asked_for() == {"https://quay.example/a.png"}
    assert browser.console(done)


def test_hostile_names_do_nothing(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "hostile.html"
    path.write_text(html(report_on(hostile_book(tmp_path / "book.sqlite"))), encoding="utf-8")
    done = browser.run(path, "--dump-dom")
    assert browser.console(done) == []
    assert "<script" not in done.stdout
    assert "<img" not in done.stdout
    assert browser.asked_for() == set()


@pytest.mark.parametrize("width", [400, 800, 1280, 2560])
def test_nothing_sticks_out_of_the_page(browser: Browser, page: Path, width: int) -> None:
    """What is wider than the page scrolls in a box of its own."""
    frame = page.with_name("frame.html")  # a headless window has a least width; a frame in it has none
    inner = probed(page, "parent.postMessage([document.documentElement.scrollWidth,innerWidth,"
                         "document.querySelectorAll('.scroll').length].join(' '),'*')")  # fmt: skip
    frame.write_text(
        "<!DOCTYPE html><title>waiting</title><script>onmessage=e=>{document.title=e.data}</script>"
        f'<iframe src="{inner.name}" style="width:{width}px;height:900px;border:0"></iframe>'
    )
    done = browser.run(frame, "--dump-dom", "--virtual-time-budget=5000", "--window-size=2700,1000")
    whole, seen, boxes = map(int, titled(done).split())
    assert seen == width
    assert whole <= width
    assert boxes > 20


@pytest.mark.parametrize(("scheme", "colours"), [(1, LIGHT), (0, DARK)], ids=["light", "dark"])
def test_by_day_and_by_night(browser: Browser, page: Path, scheme: int, colours: dict[str, str]) -> None:
    shot = page.with_suffix(".png")
    options = (f"--screenshot={shot}", "--window-size=1280,900", f"--blink-settings=preferredColorScheme={scheme}")
    browser.run(page, *options, makes=shot)
    assert pixels(shot) == (1280, 900)
    assert corner(shot) == colours["paper"]


@pytest.mark.parametrize(("scheme", "colours"), [(1, LIGHT), (0, DARK), (0, None)], ids=["light", "dark", "paper"])
def test_pictures_follow_the_page_and_stand_out(
    browser: Browser, page: Path, scheme: int, colours: dict[str, str] | None
) -> None:
    """Text by 4.5 to 1 and whatever is drawn by 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11), but for the grid and what is paper."""
    bare = probed(page, _PAINT)
    if colours is None:  # a printer's colours, in the dark
        bare.write_text(bare.read_text(encoding="utf-8").replace("@media print{", "@media all{"), encoding="utf-8")
    done = browser.run(bare, "--dump-dom", f"--blink-settings=preferredColorScheme={scheme}")
    first, *painted = titled(done).split("~")
    ground = hexed(first)
    assert ground == (colours["sheet"] if colours else "#ffffff")
    grid = (CHARTS_DARK if colours is DARK else CHARTS_LIGHT).grid
    told = {"text": 0, "mark": 0, "pattern": 0}
    for one in painted:
        kind, fill, fill_opacity, stroke, stroke_opacity, opacity = one.split("|")
        pairs = ((fill, fill_opacity), (stroke, stroke_opacity))
        seen = [over(hexed(each), ground, float(part) * float(opacity)) for each, part in pairs if each.startswith("rgb(")]
        seen = [each for each in seen if each not in (ground, grid)]
        if seen:
            told[kind] += 1
            assert max(contrast(each, ground) for each in seen) >= (4.5 if kind == "text" else 3), one
    assert all(told.values()), told


def test_a_picture_is_dark_on_a_dark_page(browser: Browser, page: Path) -> None:
    """By what is seen: the ground of a picture is that of the tables, and little of it is bright."""
    from matplotlib.image import imread

    shot = page.with_suffix(".png")
    alone = page.with_name("alone.html")  # the first picture, at the top of a page of the same style
    text = page.read_text(encoding="utf-8")
    figure = text[text.index("<figure ") : text.index("</figure>")]
    alone.write_text(f"{text[: text.index('<body>')]}<body>{figure}</figure></body></html>", encoding="utf-8")
    options = (f"--screenshot={shot}", "--window-size=1000,500", "--blink-settings=preferredColorScheme=0")
    browser.run(alone, *options, makes=shot)
    drawn_ones = imread(shot)[20:480, 20:980, :3]
    assert (drawn_ones.mean(axis=2) > 0.9).mean() < 0.1
    assert hexed(" ".join(str(round(float(part) * 255)) for part in drawn_ones[8, 8])) == DARK["sheet"]


def test_on_paper(browser: Browser, page: Path) -> None:
    paper = page.with_suffix(".pdf")
    browser.run(page, f"--print-to-pdf={paper}", "--no-pdf-header-footer", makes=paper)
    content = paper.read_bytes()
    assert content.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page\b", content))
    assert 5 < pages < 60


def test_paper_is_white_by_night_too(browser: Browser, page: Path) -> None:
    script = "document.title=getComputedStyle(document.body).backgroundColor"
    sheet = probed(page, script)
    sheet.write_text(sheet.read_text(encoding="utf-8").replace("@media print{", "@media all{"), encoding="utf-8")
    done = browser.run(sheet, "--dump-dom", "--blink-settings=preferredColorScheme=0")
    assert titled(done) == "rgb(255, 255, 255)"
