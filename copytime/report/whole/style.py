"""How a report looks on paper, on a phone, on a wide screen, by day and by night.

Colours are named once for light and once for dark, those of the pictures too, which stand on the same sheet as tables;
tests/report/whole/test_html.py holds every pair of them against the contrast that WCAG 2.2 asks for (1.4.3, 4.5 to 1), and
tests/report/test_browser.py what a browser makes of the pictures.
"""

from __future__ import annotations

from copytime.report.charts import palette

__all__ = ["DARK", "LIGHT", "STYLE"]

#: Name -> colour, for light surroundings.
LIGHT = {
    "paper": "#fcfcfa",
    "sheet": "#ffffff",
    "stripe": "#f2f5f4",
    "ink": "#1d2629",
    "quiet": "#52606a",
    "line": "#ccd5d6",
    "strong-line": "#5c7078",
    "link": "#0b5a78",
    "mark": "#7a3b00",
    "mark-paper": "#fdf3e3",
}

#: The same for dark surroundings.
DARK = {
    "paper": "#12181b",
    "sheet": "#171f23",
    "stripe": "#1d272c",
    "ink": "#e4eaea",
    "quiet": "#a9b7bc",
    "line": "#34434a",
    "strong-line": "#8aa0a8",
    "link": "#8fd0e8",
    "mark": "#ffcf8f",
    "mark-paper": "#2e2413",
}


def _named(colours: dict[str, str], charts: palette.Palette) -> str:
    """Name the colours of the page and of the pictures on it, whose paper is the sheet."""
    of_charts = {**palette.named_colours(charts), "chart-paper": colours["sheet"]}
    return "".join(f"--{name}:{value};" for name, value in (colours | of_charts).items())


_DAY, _NIGHT = _named(LIGHT, palette.LIGHT), _named(DARK, palette.DARK)


STYLE = (
    f":root{{color-scheme:light dark;{_DAY}}}\n"
    f"@media (prefers-color-scheme:dark){{:root{{{_NIGHT}}}}}\n"
    """*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;text-size-adjust:100%;scroll-behavior:auto}
body{margin:0;background:var(--paper);color:var(--ink);font:1rem/1.55 system-ui,-apple-system,"Segoe UI","Noto Sans",
"DejaVu Sans",sans-serif;overflow-wrap:break-word}
header,.page,footer{max-width:104rem;margin:0 auto;padding:0 clamp(1rem,3vw,3rem)}
header{padding-top:clamp(1.25rem,4vw,3rem);padding-bottom:1rem}
h1{font-size:clamp(1.7rem,1.2rem + 2vw,2.6rem);line-height:1.15;margin:0;letter-spacing:-.01em;font-weight:650}
.subtitle{margin:.35rem 0 0;font-size:1.15rem;color:var(--quiet)}
.made{margin:.75rem 0 0;color:var(--quiet);font-size:.9rem;font-variant-numeric:tabular-nums}
.invented{margin:1rem 0 0;padding:.7rem 1rem;background:var(--mark-paper);color:var(--mark);border:2px dashed currentColor;
max-width:70rem}
h2{font-size:1.5rem;line-height:1.25;margin:0 0 .75rem;padding-top:.9rem;font-weight:650;
border-top:3px solid var(--strong-line)}
h3{font-size:1.1rem;line-height:1.3;margin:2rem 0 .6rem;font-weight:650}
section{margin:0 0 3.25rem;scroll-margin-top:.5rem}
p,ul{max-width:74ch;margin:.6rem 0}
ul{padding-left:1.15rem}
li{margin:.4rem 0}
li::marker{color:var(--strong-line)}
a{color:var(--link);text-underline-offset:.15em}
a:focus-visible,.scroll:focus-visible,figure:focus-visible{outline:3px solid var(--link);outline-offset:2px}
.skip{position:absolute;left:-99rem}
.skip:focus{left:1rem;top:.5rem;background:var(--sheet);padding:.4rem .8rem}
nav ul{list-style:none;margin:0 0 2rem;padding:.75rem 0;display:flex;flex-wrap:wrap;gap:.1rem 1.2rem;max-width:none;
border-top:1px solid var(--line);border-bottom:1px solid var(--line)}
nav li{margin:0}
nav a{display:inline-block;padding:.3rem 0;text-decoration:none}
nav a:hover{text-decoration:underline}
#in-short>ul{max-width:80ch;padding:.9rem 1.2rem .9rem 2.2rem;background:var(--sheet);border:1px solid var(--line);
border-left:6px solid var(--strong-line)}
.scroll{overflow-x:auto;max-width:100%;margin:1.1rem 0 .4rem;background:var(--sheet);border:1px solid var(--line)}
table{border-collapse:collapse;min-width:100%;font-size:.9rem;line-height:1.35;font-variant-numeric:tabular-nums lining-nums}
caption{text-align:left;padding:.6rem .7rem;font-weight:600;border-bottom:1px solid var(--line)}
caption span{position:sticky;left:.7rem;display:inline-block;max-width:calc(100vw - 5rem)}
th,td{padding:.45rem .7rem;text-align:left;vertical-align:top;border-bottom:1px solid var(--line)}
thead th{vertical-align:bottom;font-weight:600;border-bottom:2px solid var(--strong-line);color:var(--ink)}
tbody th{font-weight:600;min-width:9rem;position:sticky;left:0;background:var(--sheet)}
tbody tr:nth-child(even)>*{background:var(--stripe)}
tbody tr:last-child>*{border-bottom:0}
.figure{text-align:right;white-space:nowrap}
thead .figure{white-space:normal}
.tight{white-space:nowrap}
td.wide{min-width:14rem}
td:not(.figure,.tight,.wide){max-width:20rem}
.unit{color:var(--quiet);font-weight:400;white-space:nowrap}
.note{font-size:.85rem;color:var(--quiet);max-width:90ch;margin:.4rem 0 1.4rem}
pre.scroll{padding:.8rem 1rem;font:.85rem/1.6 ui-monospace,"DejaVu Sans Mono","Liberation Mono",monospace;white-space:pre}
figure{margin:1.2rem 0;padding:.8rem;background:var(--chart-paper);border:1px solid var(--line);max-width:70rem;
forced-color-adjust:none}
figure svg{display:block;width:100%;height:auto}
figcaption{font-size:.9rem;color:var(--quiet);margin-top:.5rem}
footer{color:var(--quiet);font-size:.85rem;padding-bottom:2rem}
@media (min-width:100rem){
.page{display:grid;grid-template-columns:15rem minmax(0,1fr);gap:3rem}
nav ul{position:sticky;top:1rem;display:block;border:0;padding:0;border-left:3px solid var(--line);padding-left:1rem}
nav a{padding:.28rem 0;line-height:1.3}
}
@media (max-width:40rem){
td.wide{min-width:12rem}
figure{overflow-x:auto}
figure svg{width:44rem}
figcaption{position:sticky;left:0}
table{font-size:.82rem}
th,td{padding:.4rem .5rem}
tbody th{max-width:9.5rem;min-width:6.5rem;border-right:1px solid var(--line)}
#in-short>ul{padding:.6rem .8rem .6rem 1.7rem}
}
@media print{
@page{size:A4;margin:14mm 12mm 16mm}
"""
    f":root{{color-scheme:light;{_DAY}--paper:#fff;--stripe:#fff}}\n"
    """body{font-size:9.5pt;line-height:1.4}
header,.page,footer{max-width:none;padding:0}
.page{display:block}
nav,.skip{display:none}
h1{font-size:20pt}
h2{font-size:13pt;border-top-width:1.5pt;break-after:avoid}
h3{font-size:10.5pt;break-after:avoid;margin-top:12pt}
section{margin-bottom:16pt}
p,ul,.note{max-width:none;orphans:3;widows:3}
a{color:inherit;text-decoration:none}
.scroll{overflow:visible;border:0;margin:6pt 0 2pt}
table{font-size:7.4pt;width:100%;min-width:0}
caption{padding:3pt 0;break-after:avoid}
caption span{position:static;max-width:none}
thead{display:table-header-group}
th,td{padding:2.2pt 4pt}
tbody th{position:static;min-width:19mm;max-width:none}
td.wide,td:not(.figure,.tight){min-width:0;max-width:none}
tr,figure,li{break-inside:avoid}
tbody tr:first-child{break-before:avoid}
th,td{overflow-wrap:break-word}
.figure{white-space:normal}
pre.scroll{white-space:pre-wrap;overflow-wrap:anywhere;padding:0;font-size:7.4pt}
figure{border:0;padding:0;max-height:22cm}
.note{font-size:7.6pt;break-before:avoid}
}
"""
)
