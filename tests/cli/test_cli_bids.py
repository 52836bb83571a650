"""Bids on the invented season: drafted, issued, made again, closed, shown and traced back to the paper."""

from __future__ import annotations

import csv
import json
import math
import re
from pathlib import Path

import pytest
from terminal import SEED, run

SPREAD = {"mean", "p2_5", "p10", "p25", "p50", "p75", "p80", "p90", "p97_5"}


def test_estimate_prints_the_documented_keys_and_the_same_bytes(season: Path) -> None:
    """A drafted bid as JSON has every documented key and repeats to the byte."""
    words = (
        "estimate",
        "draft",
        str(SEED / "takeoff.csv"),
        "--bottom-time",
        "40min",
        "--start-up",
        "15min",
        "--json",
    )
    one, two = run(season, *words), run(season, *words)
    assert one.returncode == 0, one.stderr
    assert one.stdout == two.stdout
    found = json.loads(one.stdout)
    keys = {
        *("made_up", "db_id", "seed", "draws", "length_m", "rods", "rods_unit", "cut_time_s", "dives", "oxygen_kg"),
        *("packs", "items", "basis", "drivers", "fit", "warnings", "in", "not_in", "cautions", "cost", "order"),
        *("adjustments", "outside_history", "bottom_time_s", "start_up_s", "cutting_share"),
    }
    assert keys <= set(found)
    for name in ("rods", "cut_time_s", "dives", "oxygen_kg", "packs"):
        assert set(found[name]) == SPREAD
        levels = [found[name][key] for key in ("p2_5", "p10", "p25", "p50", "p75", "p80", "p90", "p97_5")]
        assert levels == sorted(levels)
    assert {"tallies", "cuts", "lines", "jobs", "crews", "divers", "from", "to", "left_out"} <= set(found["basis"])
    assert {"item", "quantity", "length_m", "thickness_mm", "rods", "cut_time_s", "support", "warnings"} <= set(
        found["items"][0]
    )
    assert set(found["drivers"]) == {"job", "diver", "burn", "parameters"}
    assert {"thickness_exponent", "start_m", "group_sd", "sigma", "khat"} <= set(found["fit"])
    assert found["made_up"] is True
    assert any("permit" in text for text in found["cautions"])


def test_R61_an_issued_estimate_repeats_after_more_tallies(own: Path, tmp_path: Path) -> None:
    """Fifty more tallies in the log leave an issued bid as it was, to the byte; it cannot be issued twice."""
    takeoff = str(SEED / "takeoff.csv")
    done = run(own, "estimate", "issue", "E7", takeoff, "--bottom-time", "40min", "--start-up", "15min")
    assert done.returncode == 0, done.stderr
    before = run(own, "estimate", "rerun", "E7", "--json").stdout
    rows = ["job,dive,dive_date,diver,setting,record_class,water,line,thickness,rod_type,rods,new_length,made_up"]
    rows += [
        f"LATER1,{n},2026-06-{n % 28 + 1:02d},D1,open water,production,salt,L{n},1/2 in,EX38,9,2 ft,yes"
        for n in range(1, 51)
    ]
    sheet = tmp_path / "later.csv"
    sheet.write_text("\n".join(rows) + "\n", encoding="utf-8")
    done = run(own, "import", str(sheet))
    assert done.returncode == 0, done.stderr
    assert run(own, "estimate", "rerun", "E7", "--json").stdout == before
    assert "identical bytes" in run(own, "estimate", "rerun", "E7").stdout
    assert run(own, "estimate", "issue", "E7", takeoff).returncode == 4


def test_R64_closing_needs_a_name_and_scores(own: Path) -> None:
    """An issued estimate is closed by somebody, once, and then counts in the score."""
    takeoff = str(SEED / "takeoff.csv")
    assert run(own, "estimate", "issue", "E1", takeoff).returncode == 0
    assert run(own, "estimate", "close", "E1", "--rods", "500").returncode == 2
    assert run(own, "--by", "JM", "estimate", "close", "E1", "--rods", "500").returncode == 0
    assert run(own, "--by", "JM", "estimate", "close", "E1", "--rods", "500").returncode == 2
    found = json.loads(run(own, "score", "--json").stdout)
    assert found["scored"] == 1


def test_R48_outside_the_history_ends_with_three(season: Path, tmp_path: Path) -> None:
    """Steel beyond what was logged is refused, and marked where a reason is given."""
    thick = tmp_path / "thick.csv"
    thick.write_text("item,section,thickness,length_each,rod_type\ndeep,plate,3 in,4 ft,EX38\n", encoding="utf-8")
    assert run(season, "estimate", "draft", str(thick)).returncode == 3
    done = run(season, "estimate", "draft", str(thick), "--allow-outside", "client insists")
    assert done.returncode == 0
    assert "OUTSIDE LOGGED RANGE" in done.stdout


def test_R62_what_if_shows_no_history(season: Path) -> None:
    """A visibility never logged prints `no history`, the others a figure."""
    words = ("estimate", "draft", str(SEED / "takeoff.csv"), "--vary", "visibility=by feel,1-3 ft,over 10 ft")
    done = run(season, *words)
    assert done.returncode == 0, done.stderr
    table = done.stdout[done.stdout.index("What if") :]
    assert table.count("no history") == 1
    timed = run(season, *words[:3], "--bottom-time", "40min", "--start-up", "15min", "--vary", "bottom-time=30min,1h")
    table = timed.stdout[timed.stdout.index("What if: bottom time") :]
    assert "  30 min " in table
    assert "  60 min " in table


def test_R55_after_leave_out_a_bid_shows_both_figures(own: Path, tmp_path: Path) -> None:
    """With a burn left out by decision the bid prints rods without and with it, and so does its page."""
    takeoff = str(SEED / "takeoff.csv")
    before = json.loads(run(own, "estimate", "draft", takeoff, "--json").stdout)
    assert before["with_decided"] is None
    found = json.loads(run(own, "flags", "list", "--json").stdout)["flags"]
    odd = next(flag for flag in found if flag["kind"] == "rods")
    words = ("flags", "decide", odd["rule"], odd["target"], "leave-out", "--why", "typed ten-fold")
    assert run(own, "--by", "JM", *words).returncode == 0
    after = json.loads(run(own, "estimate", "draft", takeoff, "--json").stdout)
    assert after["with_decided"]["tallies"] == 1
    # the same seed on the same tallies: with it in, the bid is the one before the decision
    assert after["with_decided"]["rods"] == before["rods"]
    assert after["rods"]["p50"] != before["rods"]["p50"]
    both = (f"P50 {after['rods']['p50']:.0f}", f"P50 {before['rods']['p50']:.0f}")
    text = " ".join(run(own, "estimate", "draft", takeoff).stdout.split())
    assert "left out by decision" in text
    assert all(figure in text for figure in both)
    assert run(own, "estimate", "issue", "B1", takeoff).returncode == 0
    assert run(own, "estimate", "rerun", "B1").returncode == 0
    page = tmp_path / "b1.html"
    assert run(own, "report", "estimate", "B1", "--out", str(page)).returncode == 0
    assert all(figure in page.read_text(encoding="utf-8") for figure in both)


def test_R63_a_rule_of_thumb_stands_beside_the_own_rate(own: Path, tmp_path: Path) -> None:
    """8-10 in per rod on 1/2 in reads 1.20-1.50 rods/ft beside own rate, range and n; other steel is not compared."""
    rules = tmp_path / "rules.csv"
    rules.write_text(
        "rule,value,per,thickness_from,thickness_to,family,source\n"
        "yard rule,8-10 in,rod,0.45 in,0.55 in,exothermic,the yard foreman\n"
        "thick rule,2 in,rod,2 in,3 in,exothermic,the yard foreman\n",
        encoding="utf-8",
    )
    assert run(own, "import", str(rules)).returncode == 0
    words = ("--units", "us", "estimate", "draft", str(SEED / "takeoff.csv"))
    said = " ".join(run(own, *words).stdout.split())
    assert "Rule of thumb, yard rule: 1.20-1.50 rods/ft (the yard foreman). Own: " in said
    assert "Rule of thumb, thick rule: 6.00 rods/ft (the yard foreman). Own: not compared: this bid asks" in said
    found = {rule["name"]: rule for rule in json.loads(run(own, *words, "--json").stdout)["rules"]}
    yard = found["yard rule"]
    assert [round(yard[key] * 0.3048, 9) for key in ("low_per_m", "high_per_m")] == [1.2, 1.5]
    rates = json.loads(run(own, "rates", "--family", "exothermic", "--by", "thickness", "--json").stdout)
    assert yard["tallies"] > 0
    assert yard["own_low"] < yard["own_per_m"] < yard["own_high"]
    assert yard["times"] == pytest.approx(yard["own_per_m"] / (1.35 / 0.3048))
    assert yard["own_per_m"] < 2 * rates["rods"]["ratio_per_m"]
    assert found["thick rule"]["own_per_m"] is None


def test_R23_the_perimeter_stands_beside_the_cut_line_as_not_burned(season: Path, tmp_path: Path) -> None:
    """One HP14x117 gives 3.531 ft to burn, and its surface perimeter by name as what is not."""
    one = tmp_path / "one.csv"
    one.write_text("item,section,rod_type\npile,HP14x117,EX38\n", encoding="utf-8")
    done = run(season, "--units", "us", "estimate", "draft", str(one))
    assert done.returncode == 0, done.stderr
    assert "each 3.531 ft; surface perimeter 86.35 in (not burned)" in done.stdout


def test_R65_an_adjustment_without_a_reason_is_refused(season: Path) -> None:
    """`--adjust` alone ends with 2; with a reason it has its line and the base figures stay."""
    words = ("estimate", "draft", str(SEED / "takeoff.csv"))
    assert run(season, *words, "--adjust", "rods=+15%").returncode == 2
    plain = json.loads(run(season, *words, "--json").stdout)
    judged = json.loads(run(season, *words, "--adjust", "rods=+15%", "--why", "kelp", "--json").stdout)
    assert judged["rods"] == plain["rods"]
    assert judged["adjustments"][0]["why"] == "kelp"
    assert run(season, *words, "--seed", "1.5").returncode == 2
    assert run(season, *words, "--draws", "100").returncode == 2


def test_what_can_be_drafted_can_be_issued(season: Path) -> None:
    """Every option that shapes a draft stands at `issue` too; what-if and the blank file are of the draft alone."""
    options = [
        set(re.findall(r"--[a-z-]+", run(season, "estimate", name, "--help").stdout)) for name in ("draft", "issue")
    ]
    assert options[0] - options[1] == {"--vary", "--blank", "--json"}


def test_report_estimate_writes_one_page(own: Path, tmp_path: Path) -> None:
    """The page of an issued estimate holds its number, its boxes and no address of the network."""
    assert run(own, "estimate", "issue", "E9", str(SEED / "takeoff.csv")).returncode == 0
    page = tmp_path / "e9.html"
    done = run(own, "report", "estimate", "E9", "--out", str(page))
    assert done.returncode == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert "Estimate E9, ISSUED" in text
    assert 'src="http' not in text
    assert 'href="http' not in text
    assert page.stat().st_size < 3_000_000


def test_R83_a_short_script_recomputes_the_headline_from_the_pack(own: Path, tmp_path: Path) -> None:
    """From the CSV files of the audit pack alone: P80 of the rods, the history's ratio, and a sheet for every cut."""
    assert run(own, "estimate", "issue", "E7", str(SEED / "takeoff.csv")).returncode == 0
    folder = tmp_path / "pack"
    done = run(own, "audit", "E7", str(folder))
    assert done.returncode == 0, done.stderr

    def read(name: str) -> list[dict[str, str]]:
        with (folder / name).open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    rods = sorted(float(row["rods"]) for row in read("draws.csv"))
    result = json.loads((folder / "estimate.json").read_text(encoding="utf-8"))["result"]
    assert rods[math.ceil(0.8 * len(rods)) - 1] == result["rods"]["p80"]
    tallies = read("tallies.csv")
    total = math.fsum(float(t["rods"]) for t in tallies) / math.fsum(float(t["new_length_m"]) for t in tallies)
    assert total == pytest.approx(result["basis"]["rods_per_m"], rel=1e-12)
    assert len(read("sheets.csv")) == len(read("pieces.csv")) == result["basis"]["cuts"]
    assert run(own, "audit", "E7", str(folder)).returncode == 2
