"""``copytime links`` as a program."""

from __future__ import annotations

import csv
import io

from copytime.links import LINKS
from tests.conftest import Cli


def test_the_table_has_every_general_row_and_with_all_the_others(cli: Cli) -> None:
    brief, whole = cli("links"), cli("links", "--all")
    assert (brief.returncode, brief.stderr) == (0, "")
    for link in LINKS:
        assert (f"\n{link.name} " in brief.stdout) == (link.variant_of is None), link.name
        assert f"\n{link.name} " in whole.stdout


def test_a_derivation_ends_at_the_ceiling_and_names_its_sources(cli: Cli) -> None:
    done = cli("links", "USB3.2-GEN1X1")
    assert done.returncode == 0
    for words in ("625", "8b/10b", "484.8485", "4.4.11", "chapter 7", "common practice", "usb3.0", "falls back to usb2.0"):
        assert words in done.stdout, words


def test_csv_has_a_row_for_each_and_units_in_the_head(cli: Cli) -> None:
    rows = list(csv.DictReader(io.StringIO(cli("links", "--csv").stdout)))
    assert [row["link"] for row in rows] == [link.name for link in LINKS]
    assert rows[[link.name for link in LINKS].index("usb2.0")]["ceiling_mb_per_s"] == "53.248"


def test_wrong_usage(cli: Cli) -> None:
    missed = cli("links", "thunderbold4")
    assert missed.returncode == 2
    assert "Did you mean thunderbolt4?" in missed.stderr
    assert cli("links", "--json", "--csv").returncode == 2
    assert cli("links", "usb2.0", "sata").returncode == 2
