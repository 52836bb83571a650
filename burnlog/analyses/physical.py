"""Rows of the record that cannot be as written, whoever burned and on whatever steel.

The floors: 3 scf of oxygen a rod, computed from the chemistry of iron burning to its oxides (9 in of 1/2 in plate
with a 3/8 in kerf takes 1.7 to 2.2 scf and the rod itself 1.4 to 1.8); 20 s of elapsed time a rod, half the 40 s
that news reports give for an 18 in rod, so a floor for asking only. A rule whose inputs are blank does not run for
that row.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from burnlog.analyses.consistency import SHEET, THROUGH, Findings, Flag, said
from burnlog.analyses.record import counted
from burnlog.analyses.tallies import TallySet
from burnlog.columns import Frames
from burnlog.measures import KPA_PER_PSI
from burnlog.wording import number_of

__all__ = ["burn_over_elapsed", "far_from_own_rate", "flowing_over_static", "physical", "rods_started"]

KG_PER_SCF = 0.037552
"""Oxygen, 1 standard cubic foot at 70 F and 1 atm [kg]; computed from the gas law with the real-gas factor."""
LEAST_SCF_PER_ROD = 3.0
LEAST_S_PER_ROD = 20.0
OWN_RATE_FACTOR = 4.0
GAUGE_STEPS_KPA = tuple(
    sorted((*(psi * KPA_PER_PSI for psi in (100, 50, 25, 20, 10, 5, 1)), 1000.0, 500.0, 100.0), reverse=True)
)


def physical(frames: Frames, *, profile: str = "metric") -> Findings:
    """Every rule of this module that needs no set of tallies, over the whole record; words in the profile's units."""
    tallies = rods_started(frames)
    return (
        _oxygen_per_rod(frames, tallies, profile)
        + _elapsed_per_rod(tallies)
        + burn_over_elapsed(frames)
        + _no_rods(frames, profile)
        + flowing_over_static(frames, profile=profile)
    )


def rods_started(frames: Frames) -> pd.DataFrame:
    """Each count with the rods lit under it and what its cuts add up to.

    Returns
    -------
    DataFrame
        Indexed by tally_id: `ref`, `job`, `dive` and `cut` (missing where several), `started` (whole ones plus
        part-burned ones, NaN where nobody counted), `elapsed_s` (NaN unless every cut has it), `cuts`,
        `bank`, `bank_start_kpa`, `bank_end_kpa` (first and last, NaN where not written or the bank changed).
    """
    tallies, rows = counted(frames)
    tallies = tallies[tallies["tally_no"] >= 0]
    raw = frames.tallies.set_index("tally_id")["rods"].reindex(tallies.index)
    parts = frames.rod_parts["tally_id"].value_counts().reindex(tallies.index).fillna(0)
    rows = rows[rows["tally_id"].isin(tallies.index) & rows["cut_id"].notna()]
    supply = frames.cuts.set_index("cut_id")[["bank", "bank_start_kpa", "bank_end_kpa"]]
    rows = rows.join(supply, on="cut_id")
    by = rows.groupby("tally_id")
    first, last = rows.drop_duplicates("tally_id"), rows.drop_duplicates("tally_id", keep="last")
    ends = pd.concat([rows["bank_start_kpa"], rows["bank_end_kpa"]], axis=1).stack().reset_index()
    ends = ends.set_axis(["row", "which", "kpa"], axis=1)
    ends["tally_id"] = rows["tally_id"].reindex(ends["row"]).to_numpy()
    rising = ends.groupby("tally_id")["kpa"].diff().gt(0).groupby(ends["tally_id"]).any()
    events = frames.happenings
    changed = events.loc[events["word"].eq("bank change-over"), "dive_ref"].dropna()
    moved = rows["dive_ref"].isin(changed).groupby(rows["tally_id"]).any()
    broken = (rising.reindex(tallies.index, fill_value=False)) | (moved.reindex(tallies.index, fill_value=False))
    out = pd.DataFrame(
        {
            "ref": tallies["ref"],
            "job": tallies["job"],
            "dive": by["dive_ref"].first().where(by["dive_ref"].nunique().eq(1)).reindex(tallies.index),
            "cut": by["cut_ref"].first().where(by.size().eq(1)).reindex(tallies.index),
            "started": raw + parts,
            "elapsed_s": by["elapsed_s"].agg(lambda s: s.sum(skipna=False)).reindex(tallies.index),
            "cuts": by.size().reindex(tallies.index).fillna(0),
            "bank": by["bank"].first().where(by["bank"].nunique().eq(1)).reindex(tallies.index),
            "bank_start_kpa": first.set_index("tally_id")["bank_start_kpa"].reindex(tallies.index),
            "bank_end_kpa": last.set_index("tally_id")["bank_end_kpa"].reindex(tallies.index),
        }
    )
    out.loc[broken, ["bank_start_kpa", "bank_end_kpa"]] = np.nan
    return out


def burn_over_elapsed(frames: Frames) -> Findings:
    """Cuts whose burn time is longer than the time from start to stop."""
    rule = "burn longer than elapsed"
    known = frames.cuts[frames.cuts["burn_s"].notna() & frames.cuts["elapsed_s"].notna()]
    flags = tuple(
        Flag(
            rule=rule,
            kind=SHEET,
            target=str(cut["cut_ref"]),
            job=str(cut["job"]),
            dive=str(cut["dive_ref"]),
            cut=str(cut["cut_ref"]),
            seen=float(cut["burn_s"]),
            expected_low=0.0,
            expected_high=float(cut["elapsed_s"]),
            unit="s",
            score=float(np.log(cut["burn_s"] / max(cut["elapsed_s"], 1.0))),
            question="a rod cannot burn longer than the cut took: check the sheet",
            sheet=f"burn {cut['burn_s']:.0f} s, elapsed {cut['elapsed_s']:.0f} s",
        )
        for cut in known[known["burn_s"] > known["elapsed_s"]].to_dict("records")
    )
    return Findings(flags, {rule: len(known)}, {rule: len(frames.cuts) - len(known)})


def flowing_over_static(frames: Frames, *, profile: str = "metric") -> Findings:
    """Flowing pressure above static: gas that flows loses pressure. One flag for each cut, or dive of readings."""
    rule = "flowing above static"
    flags, judged, blank = [], 0, 0
    for frame, key in ((frames.cuts, "cut_ref"), (frames.readings, "dive_ref")):
        read = frame[frame["flowing_kpa"].notna()]
        known = read[read["static_kpa"].notna()]
        judged += len(known)
        blank += len(read) - len(known) if key == "dive_ref" else len(frame) - len(known)
        over = known[known["flowing_kpa"] > known["static_kpa"]]
        for target, rows in over.groupby(key, sort=True):
            row = rows.iloc[int(np.argmax(rows["flowing_kpa"] - rows["static_kpa"]))]
            flags.append(
                Flag(
                    rule=rule,
                    kind=SHEET,
                    target=str(target),
                    job=str(row["job"]),
                    dive=str(row["dive_ref"]),
                    cut=str(target) if key == "cut_ref" else None,
                    seen=float(row["flowing_kpa"]),
                    expected_low=None,
                    expected_high=float(row["static_kpa"]),
                    unit="kPa",
                    score=float(row["flowing_kpa"] / max(row["static_kpa"], 1.0) - 1),
                    question="flowing pressure stands above static: check the sheet",
                    sheet=f"static {said(row['static_kpa'], 'kPa', profile)}, {number_of(len(rows), 'such reading')}",
                )
            )
    return Findings(tuple(flags), {rule: judged}, {rule: blank})


def far_from_own_rate(tallyset: TallySet, *, fewer_than: int = 7, profile: str = "metric") -> Findings:
    """Tallies over four times, or under a quarter of, the rods per metre of the job's other tallies.

    The others speak by their median, of two by the middle on the log scale: one count with a zero too many must not
    make the rest look cheap. For jobs with fewer tallies than `fewer_than` and no model: on a mixed job of ordinary
    size this rule raises some 1.5 false flags in 100 tallies.
    """
    rule = "far from the job's own rate"
    flags, judged, blank = [], 0, 0
    for job, rows in tallyset.tallies.groupby("job", sort=True):
        if not 3 <= len(rows) < fewer_than:
            blank += len(rows)
            continue
        judged += len(rows)
        log_rates = np.log(rows["rods"].to_numpy(dtype=float) / rows["new_length_m"].to_numpy(dtype=float))
        for place, row in enumerate(rows.reset_index().to_dict("records")):
            rate = float(np.exp(np.median(np.delete(log_rates, place))))
            seen = float(np.exp(log_rates[place]))
            if not rate / OWN_RATE_FACTOR <= seen <= rate * OWN_RATE_FACTOR:
                pieces = tallyset.pieces[tallyset.pieces["tally_id"] == row["tally_id"]]
                flags.append(
                    Flag(
                        rule=rule,
                        kind=SHEET,
                        target=str(row["ref"]),
                        job=str(job),
                        dive=None if pd.isna(row["dive_ref"]) else str(row["dive_ref"]),
                        cut=None,
                        seen=seen,
                        expected_low=rate / OWN_RATE_FACTOR,
                        expected_high=rate * OWN_RATE_FACTOR,
                        unit="rods/m",
                        score=abs(float(np.log(seen / rate))),
                        question="far from what the job's other counts say: check the sheet",
                        sheet=f"{row['rods']:g} rods on {said(row['new_length_m'], 'm', profile)}, "
                        f"{number_of(len(pieces), 'cut')}",
                    )
                )
    return Findings(tuple(flags), {rule: judged}, {rule: blank})


def _oxygen_per_rod(frames: Frames, tallies: pd.DataFrame, profile: str) -> Findings:
    rule = "under 3 scf oxygen per rod"
    banks = frames.banks.drop_duplicates("bank").set_index("bank")
    kg_per_kpa = banks["cylinders"] * banks["contents_kg_each"] / banks["label_kpa"]
    scale = tallies["bank"].map(kg_per_kpa)
    steps = {bank: _gauge_step(frames, str(bank)) for bank in banks.index}
    least_kg = LEAST_SCF_PER_ROD * KG_PER_SCF * tallies["started"]
    # where the least fall is lost in the gauge's own step, the reading says nothing about rods
    readable = least_kg / scale >= 2 * tallies["bank"].map(steps)
    used_kg = (tallies["bank_start_kpa"] - tallies["bank_end_kpa"]) * scale
    tallies = tallies.assign(used_kg=used_kg, least_kg=least_kg)
    known = tallies[used_kg.notna() & tallies["started"].gt(0) & readable]
    flags = tuple(
        Flag(
            rule=rule,
            kind=SHEET,
            target=str(row["ref"]),
            job=str(row["job"]),
            dive=_text(row["dive"]),
            cut=_text(row["cut"]),
            seen=float(row["used_kg"] / row["started"]),
            expected_low=LEAST_SCF_PER_ROD * KG_PER_SCF,
            expected_high=None,
            unit="kg/rod",
            score=float(row["least_kg"] / max(row["used_kg"], 1e-3)),
            question="less oxygen than any rod burns on: check the sheet",
            sheet=f"{row['started']:g} rods, bank {said(row['bank_start_kpa'], 'kPa', profile)} to "
            f"{said(row['bank_end_kpa'], 'kPa', profile)}",
        )
        for row in known[known["used_kg"] < known["least_kg"]].to_dict("records")
    )
    return Findings(flags, {rule: len(known)}, {rule: len(tallies) - len(known)})


def _gauge_step(frames: Frames, bank: str) -> float:
    """The coarsest step every reading of a bank is a multiple of [kPa]; 0 where none is."""
    cuts, readings = frames.cuts[frames.cuts["bank"] == bank], frames.readings[frames.readings["bank"] == bank]
    read = pd.concat([cuts["bank_start_kpa"], cuts["bank_end_kpa"], readings["bank_kpa"]]).dropna().to_numpy()
    for step in GAUGE_STEPS_KPA:
        if np.all(np.abs(read / step - np.round(read / step)) * step < 0.01):
            return float(step)
    return 0.0


def _elapsed_per_rod(tallies: pd.DataFrame) -> Findings:
    rule = "under 20 s elapsed per rod"
    known = tallies[tallies["started"].gt(0) & tallies["elapsed_s"].notna()]
    known = known.assign(each=known["elapsed_s"] / known["started"])
    flags = tuple(
        Flag(
            rule=rule,
            kind=SHEET,
            target=str(row["ref"]),
            job=str(row["job"]),
            dive=_text(row["dive"]),
            cut=_text(row["cut"]),
            seen=float(row["each"]),
            expected_low=LEAST_S_PER_ROD,
            expected_high=None,
            unit="s/rod",
            score=LEAST_S_PER_ROD / max(float(row["each"]), 0.1),
            question="faster than a rod burns: check the sheet",
            sheet=f"{row['started']:g} rods in {row['elapsed_s'] / 60:.3g} min",
        )
        for row in known[known["each"] < LEAST_S_PER_ROD].to_dict("records")
    )
    return Findings(flags, {rule: len(known)}, {rule: len(tallies) - len(known)})


def _no_rods(frames: Frames, profile: str) -> Findings:
    """Lines called through whose every count says nought; a count nobody made is blank, not nought."""
    rule = "no rods on a through line"
    tallies, rows = counted(frames)
    parts = frames.rod_parts["tally_id"].value_counts().reindex(tallies.index).fillna(0)
    started = frames.tallies.set_index("tally_id")["rods"].reindex(tallies.index) + parts
    rows = rows[rows["cut_id"].notna() & rows["line_ref"].notna()]
    rows = rows.assign(started=rows["tally_id"].map(started))
    went = set(rows.loc[rows["outcome"].isin(THROUGH), "line_ref"])
    rods = rows[rows["line_ref"].isin(went)].groupby("line_ref")["started"].agg(lambda s: s.sum(skipna=False))
    flags = []
    for line_ref in rods.index[rods == 0]:
        mine = rows[rows["line_ref"] == line_ref]
        flags.append(
            Flag(
                rule=rule,
                kind=SHEET,
                target=str(line_ref),
                job=str(mine["job"].iloc[0]),
                dive=str(mine["dive_ref"].iloc[0]) if mine["dive_ref"].nunique() == 1 else None,
                cut=str(mine["cut_ref"].iloc[0]) if len(mine) == 1 else None,
                seen=0.0,
                expected_low=1.0,
                expected_high=None,
                unit="rods",
                score=1.0,
                question="called through, and the count says no rod was burned: check the sheet",
                sheet=f"{number_of(len(mine), 'row')}, {said(float(mine['new_length_m'].sum()), 'm', profile)}",
            )
        )
    known = int(rods.notna().sum())
    return Findings(tuple(flags), {rule: known}, {rule: len(rods) - known})


def _text(value: Any) -> str | None:
    return None if pd.isna(value) else str(value)
