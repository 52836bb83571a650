"""Charts of a crew review, in code order and no other: standing beside luck, the work given, who met on which job."""

from __future__ import annotations

from typing import Any

import pandas as pd

from burnlog.analyses.crew_oxygen import CrewOxygen
from burnlog.analyses.crews import CrewReview
from burnlog.charts.amounts import length_unit, steel_unit
from burnlog.charts.theme import BLACK, GREY, PALE, WIDTH, dressed, themed

__all__ = [
    "crew_charts",
    "map_chart",
    "map_finding",
    "mix_chart",
    "mix_finding",
    "oxygen_chart",
    "oxygen_finding",
    "standing_chart",
    "standing_finding",
]

TICKS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5)
NAMES = {"crew": "crews", "diver": "divers", "rod_type": "rod types", "rig": "rigs"}


def crew_charts(review: CrewReview, oxygen: CrewOxygen | None = None, *, profile: str = "metric") -> dict[str, Any]:
    """Every chart of a crew review by its element id."""
    charts = {}
    if any(row.enough for row in review.rows):
        charts["standing"] = standing_chart(review)
    if any(row.plate_mix for row in review.rows):
        charts["plates"] = mix_chart(review, "plate", profile=profile)
        charts["sight"] = mix_chart(review, "visibility", profile=profile)
    if review.work.tallies:
        charts["map"] = map_chart(review)
    if oxygen is not None and oxygen.dives:
        charts["oxygen"] = oxygen_chart(oxygen)
    return charts


def standing_finding(review: CrewReview) -> str:
    """What the standing chart shows, from the numbers."""
    known = [row for row in review.rows if row.enough]
    named = [row.code for row in known if row.different]
    noun = NAMES[review.by]
    told = f"{', '.join(named)}: different from the others" if named else "none is told apart from the others"
    out = f"Of {len(known)} {noun} with ground for a figure, {told} (90 % interval)."
    shy = len(review.rows) - len(known)
    if shy:
        out += f" {shy} without ground: not enough to say."
    finest = [row.would_not_show_percent for row in known if row.would_not_show_percent is not None]
    if finest:
        out += f" A difference under about {min(finest):.0f} to {max(finest):.0f} % would not show here."
    return out


def _label(code: str, tallies: int, jobs: int) -> str:
    return f"{code} (n = {tallies} on {jobs} job{'' if jobs == 1 else 's'})"


def standing_chart(review: CrewReview) -> Any:
    """Shrunken ratio with its 80 % interval, observed over expected, and the luck band behind; line at 1."""
    import altair as alt

    rows = pd.DataFrame(
        [
            {
                "code": _label(row.code, row.tallies, row.jobs),
                "effect": row.effect,
                "low": row.low,
                "high": row.high,
                "oe": row.observed_expected,
                "luck_low": row.luck_low,
                "luck_high": row.luck_high,
                "why": "" if row.enough else "not enough to say",
            }
            for row in review.rows
        ]
    )
    values = rows[["low", "high", "oe", "luck_low", "luck_high"]].astype(float)
    ends = [0.97 * min(1.0, float(values.min().min())), 1.03 * max(1.0, float(values.max().max()))]
    scale = alt.Scale(type="log", domain=ends, nice=False)
    ticks = [at for at in TICKS if ends[0] <= at <= ends[1]]
    x = alt.X(
        "luck_low:Q",
        scale=scale,
        title="rods against the others on equal steel, 1 = as they do",
        axis=alt.Axis(values=ticks, format=".2~f"),
    )
    y = alt.Y("code:N", sort=None, title=None, axis=alt.Axis(labelLimit=260, grid=False))
    known = rows[rows["why"] == ""]
    base = alt.Chart(known).encode(y=y)
    luck = base.mark_bar(color=PALE, height=22).encode(x=x, x2="luck_high:Q")
    spans = base.mark_rule(color=BLACK, strokeWidth=2).encode(x=alt.X("low:Q", scale=scale), x2="high:Q")
    marks = known.melt(id_vars=["code"], value_vars=["effect", "oe"], var_name="which", value_name="ratio").dropna()
    names = {"effect": "shrunken, with 80 % interval", "oe": "observed over expected"}
    marks["which"] = marks["which"].map(names)
    dots = (
        alt.Chart(marks)
        .mark_point(size=80, color=BLACK, fill="white", opacity=1)
        .encode(
            y=y,
            x=alt.X("ratio:Q", scale=scale),
            shape=alt.Shape(
                "which:N",
                title="grey band: luck alone, 80 %",
                scale=alt.Scale(domain=list(names.values()), range=["circle", "diamond"]),
            ),
        )
    )
    one = alt.Chart(pd.DataFrame({"at": [1.0]})).mark_rule(color=BLACK).encode(x=alt.X("at:Q", scale=scale))
    layers = [luck, one, spans, dots]
    silent = rows[rows["why"] != ""].assign(at=1.0)
    if len(silent):
        layers.append(
            alt.Chart(silent)
            .mark_text(align="left", dx=6, color=GREY)
            .encode(y=y, x=alt.X("at:Q", scale=scale), text="why:N")
        )
    return themed(alt.layer(*layers), height=40 * len(rows) + 10, description=standing_finding(review))


def _mix(review: CrewReview, what: str, profile: str) -> pd.DataFrame:
    (per, length), (steel, unit) = length_unit(profile), steel_unit(profile)
    rows = []
    for row in review.rows:
        for text, share in row.plate_mix if what == "plate" else row.visibility_mix:
            number = float(text) if what == "plate" and text != "not recorded" else None
            rows.append(
                {
                    "code": f"{row.code} ({row.length_m / per:.0f} {length})",
                    "plain": row.code,
                    "level": text if number is None else f"{number / steel:.3g} {unit}",
                    "number": number,
                    "share": 100 * share,
                }
            )
    return pd.DataFrame(rows)


OXYGEN = {
    "likely": ("diamond", 130),
    "possible": ("triangle-up", 110),
    "no evidence": ("circle", 14),
    "not judged": ("cross", 50),
}
"""The word on a dive's oxygen, with its shape and size: what raises a question is large."""
SIGHT = ("by feel", "under 1 ft", "1-3 ft", "3-10 ft", "over 10 ft", "not recorded")


def mix_finding(review: CrewReview, what: str, profile: str) -> str:
    """Where most of each code's length lay, from the numbers."""
    rows = _mix(review, what, profile)
    at = "on" if what == "plate" else "at"
    said = []
    for code, mine in rows.sort_values("share", kind="stable").groupby("plain", sort=True):
        top = mine.to_dict("records")[-1]
        said.append(f"{code} {top['share']:.0f} % {at} {top['level']}")
    return (
        f"Largest share of each one's length by {what}: {'; '.join(said)}. Unequal work is not a difference in skill."
    )


def mix_chart(review: CrewReview, what: str, *, profile: str = "metric") -> Any:
    """Shares of each code's length by plate or visibility: a square as large as the share, and the share in it."""
    import altair as alt

    rows = _mix(review, what, profile)
    if what == "plate":
        known = rows.dropna(subset=["number"]).drop_duplicates("level").sort_values("number")
        order = [*known["level"], "not recorded"]
    else:
        order = [word for word in SIGHT if word in set(rows["level"])]
        order += sorted(set(rows["level"]) - set(order))
    rows["text"] = rows["share"].map(lambda share: f"{share:.0f}" if share >= 1 else "<1")
    base = alt.Chart(rows).encode(
        x=alt.X(
            "level:N",
            sort=order,
            title=("thickness" if what == "plate" else "visibility") + ", % of each one's length",
            axis=alt.Axis(labelAngle=-40 if len(order) > 6 else 0, labelLimit=160),
        ),
        y=alt.Y("code:N", sort=None, title=None, axis=alt.Axis(labelLimit=200)),
    )
    squares = base.mark_point(shape="square", filled=True, color=PALE, opacity=1).encode(
        size=alt.Size("share:Q", legend=None, scale=alt.Scale(domain=[0, 100], range=[0, 1500]))
    )
    names = base.mark_text(color=BLACK).encode(text="text:N")
    return themed(
        alt.layer(squares, names),
        height=42 * rows["code"].nunique() + 10,
        description=mix_finding(review, what, profile),
    )


def oxygen_finding(oxygen: CrewOxygen) -> str:
    """On whose dives the oxygen fell, and what the edges were before and after, from the numbers."""
    judged = [dive for dive in oxygen.dives if dive.evidence != "not judged"]
    out = f"Oxygen fell on {len(oxygen.fell)} of {len(judged)} judged dives"
    codes = sorted({each.code for each in oxygen.fell})
    if not codes:
        return f"{out}; {len(oxygen.dives) - len(judged)} of {len(oxygen.dives)} could not be judged."
    named = ", ".join(f"{code} {sum(each.code == code for each in oxygen.fell)}" for code in codes)
    first = sum(each.before_ragged for each in oxygen.fell), sum(each.before_seen for each in oxygen.fell)
    then = sum(each.from_ragged for each in oxygen.fell), sum(each.from_seen for each in oxygen.fell)
    return (
        f"{out} ({named}); {len(oxygen.dives) - len(judged)} of {len(oxygen.dives)} could not be judged. Edges "
        f"ragged on those dives: {first[0]} of {first[1]} seen before the fall, {then[0]} of {then[1]} from its "
        "beginning on. A rig that starves a rod is no one's skill."
    )


def oxygen_chart(oxygen: CrewOxygen) -> Any:
    """Every dive of each code in order of time, its shape the word on its oxygen."""
    import altair as alt

    codes = sorted({dive.code for dive in oxygen.dives})
    rows = pd.DataFrame(
        [
            {
                "code": f"{code} (n = {sum(oxygen.counts(code).values())} dives)",
                "place": place,
                "day": dive.day,
                "word": dive.evidence,
                "size": OXYGEN[dive.evidence][1],
                "dive": dive.dive,
            }
            for code in codes
            for place, dive in enumerate((each for each in oxygen.dives if each.code == code), start=1)
        ]
    )
    words = [word for word in OXYGEN if word in set(rows["word"])]
    base = alt.Chart(rows).encode(
        x=alt.X(
            "place:Q",
            title=f"{oxygen.by}'s dives in order of time",
            scale=alt.Scale(domain=[0, int(rows["place"].max()) + 1], nice=False),
            axis=alt.Axis(tickMinStep=1, grid=False),
        ),
        y=alt.Y("code:N", sort=None, title=None, axis=alt.Axis(labelLimit=260)),
    )
    dots = base.mark_point(color=BLACK, opacity=0.9).encode(
        shape=alt.Shape(
            "word:N", title="sag", scale=alt.Scale(domain=words, range=[OXYGEN[word][0] for word in words])
        ),
        size=alt.Size("size:Q", legend=None, scale=None),
        tooltip=["dive:N", "day:N", "word:N"],
    )
    return themed(dots, height=44 * len(codes) + 10, description=oxygen_finding(oxygen))


def map_finding(review: CrewReview) -> str:
    """Who met on a job, from the graph."""
    parts = len(set(review.work.part.values()))
    jobs = {job for _, job in review.work.tallies}
    shared = {job for mine in review.work.shared.values() for job in mine}
    noun = NAMES[review.by]
    out = f"{len(shared)} of {len(jobs)} jobs were worked by more than one of the {len(review.work.part)} {noun}"
    if parts == 1:
        return f"{out}; all can be compared along shared jobs."
    return f"{out}; {parts} groups never met on a job and are not compared with each other: they stand apart below."


def map_chart(review: CrewReview) -> Any:
    """Tallies of each code on each job, unconnected parts in panels of their own."""
    import altair as alt

    part = review.work.part
    numbers = {old: place + 1 for place, old in enumerate(sorted(set(part.values())))}
    rows = pd.DataFrame(
        [
            {"code": code, "job": job, "tallies": n, "part": numbers[part[code]]}
            for (code, job), n in review.work.tallies.items()
        ]
    )
    top = int(rows["tallies"].max())
    panels = []
    wide = WIDTH - 30 - 8 * int(rows["code"].str.len().max())  # what the longest code leaves of the paper
    for number, mine in rows.groupby("part"):
        base = alt.Chart(mine).encode(
            x=alt.X("job:N", sort=None, title="job (n in tallies)", axis=alt.Axis(labelAngle=-40, labelLimit=140)),
            y=alt.Y("code:N", title=None),
        )
        dots = base.mark_point(filled=True, color=PALE, opacity=1).encode(
            size=alt.Size("tallies:Q", legend=None, scale=alt.Scale(domain=[0, top], range=[40, 900]))
        )
        names = base.mark_text(color=BLACK).encode(text="tallies:Q")
        title = f"part {number}: never met the others" if len(numbers) > 1 else ""
        panel = alt.layer(dots, names).properties(width=wide, height=40 * mine["code"].nunique() + 10)
        panels.append(panel.properties(title=alt.TitleParams(title)) if title else panel)
    return dressed(alt.vconcat(*panels), description=map_finding(review))
