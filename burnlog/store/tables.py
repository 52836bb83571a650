"""The tables of the log, column by column: what a row is, its hard ranges, its words, its parents.

Numbers are SI with the unit in the column name; NULL is *not recorded*. Ranges are the hard ones: what lies outside
is a slip of the pen, not a measurement. They are judgement, no limits for working. The same declarations make the
SQL (`burnlog.store.schema`) and hold a row from elsewhere against its table (`Table.problems`).
"""

from __future__ import annotations

from collections.abc import Mapping

from burnlog.store.table import Field, Table
from burnlog.vocabulary import words

__all__ = ["MASTERS", "NUMBERED", "TABLES"]


def _text(name: str, longest: int, *, needed: bool = False) -> Field:
    return Field(name, "TEXT", needed, longest=longest)


def _real(name: str, low: float, high: float, *, needed: bool = False) -> Field:
    return Field(name, "REAL", needed, low=low, high=high)


def _int(name: str, low: int, high: int, *, needed: bool = False) -> Field:
    return Field(name, "INTEGER", needed, low=low, high=high)


def _flag(name: str) -> Field:
    return Field(name, "INTEGER", needed=True, shape="flag", default="0")


def _word(name: str, listed: str = "", *, needed: bool = False, many: bool = False) -> Field:
    return Field(name, "TEXT", needed, words=listed or name, many=many)


def _date(name: str, *, needed: bool = False) -> Field:
    return Field(name, "TEXT", needed, shape="date")


def _time(name: str) -> Field:
    return Field(name, "TEXT", shape="time")


def _ref(name: str, parent: str, *, needed: bool = False) -> Field:
    return Field(name, "TEXT", needed, parent=parent)


TABLES: tuple[Table, ...] = (
    Table(
        "job",
        "one contract or one class",
        (
            _text("code", 20, needed=True),
            _text("title", 120),
            _word("purpose"),
            _word("record_class"),
            _word("water"),
            _text("place", 120),
            _text("time_zone", 64),
            _text("depth_datum", 120),
            _word("units_profile"),
            _date("start_date"),
            _date("end_date"),
            _text("client_ref", 200),
            _text("note", 2000),
            _flag("made_up"),
        ),
        keys=(("code",),),
        rules=(("a job ends after it starts", "start_date IS NULL OR end_date IS NULL OR end_date >= start_date"),),
    ),
    Table(
        "person",
        "a code, and a name only where somebody wants it there",
        (
            _text("code", 12, needed=True),
            _text("display_name", 120),
            _word("roles", "role", many=True),
            _date("notice_date"),
            _flag("active"),
        ),
        keys=(("code",),),
        secret=("display_name",),
    ),
    Table(
        "rod_type",
        "one kind of rod",
        (
            _text("code", 20, needed=True),
            _word("family"),
            _real("outer_dia_mm", 4, 20),
            _real("length_mm", 200, 1000),
            _real("planned_stub_mm", 20, 150),
            _text("stub_source", 200),
            _int("pack_count", 1, 500),
        ),
        keys=(("code",),),
        rules=(
            (
                "a planned stub has a source",
                "planned_stub_mm IS NULL OR length(trim(coalesce(stub_source, ''))) > 0",
            ),
            (
                "a planned stub is shorter than half the rod",
                "planned_stub_mm IS NULL OR length_mm IS NULL OR planned_stub_mm < length_mm / 2",
            ),
        ),
    ),
    Table(
        "rig",
        "torch, hose and power source, and the gauges a reading can be traced to",
        (
            _text("code", 12, needed=True),
            _word("power_kind"),
            _real("rated_a", 50, 1500),
            _text("cable_size", 40),
            _real("cable_one_way_m", 0, 300),
            _real("hose_bore_mm", 3, 20),
            _real("hose_length_m", 0, 300),
            _text("torch_ref", 60),
            _text("regulator_ref", 60),
            _text("static_gauge_ref", 60),
            _text("flow_gauge_ref", 60),
            _text("clamp_meter_ref", 60),
            _date("gauge_checked_on"),
            _real("hose_loss_kpa", 0, 1500),
            _text("hose_loss_source", 200),
            _text("source", 200),
        ),
        keys=(("code",),),
        rules=(
            (
                "a hose loss has a source",
                "hose_loss_kpa IS NULL OR length(trim(coalesce(hose_loss_source, ''))) > 0",
            ),
        ),
    ),
    Table(
        "bank",
        "an oxygen bank",
        (
            _text("code", 12, needed=True),
            _int("cylinders", 1, 64),
            _real("contents_kg_each", 0.5, 40),
            _real("label_pressure_kpa", 5000, 35000),
            _real("label_temp_c", 0, 40),
            _word("contents_route"),
            _real("purity_pct", 90, 100),
            _text("certificate_ref", 60),
        ),
        keys=(("code",),),
    ),
    Table(
        "import_batch",
        "one file taken in",
        (
            _text("file_name", 400, needed=True),
            _text("content_hash", 64, needed=True),
            _int("rows", 0, 10_000_000, needed=True),
        ),
        keys=(("content_hash",),),
    ),
    Table(
        "line",
        "one planned cut line on a piece",
        (
            _ref("job_id", "job", needed=True),
            _text("code", 20, needed=True),
            _text("section", 60),
            _word("section_kind"),
            Field("dims", "TEXT", shape="json"),
            _word("material"),
            _real("thickness_mm", 1, 300),
            _word("thickness_basis", "basis"),
            _real("planned_length_mm", 10, 200_000),
            _word("length_basis", "basis"),
            _word("closed_space"),
            _int("interlocks", 0, 500),
            _int("roots", 0, 500),
            _real("elevation_m", -600, 30),
            _word("access"),
            _word("cleaned"),
            _word("state_noted", "line_state"),
            _text("over_length_why", 300),
        ),
        keys=(("job_id", "code"),),
    ),
    Table(
        "segment",
        "a part of a line with its own thickness",
        (
            _ref("line_id", "line", needed=True),
            _int("seq", 1, 200, needed=True),
            _real("length_mm", 1, 200_000, needed=True),
            _real("thickness_mm", 1, 300, needed=True),
            _word("position"),
            _word("backing"),
        ),
        keys=(("line_id", "seq"),),
    ),
    Table(
        "dive",
        "one diver, one descent, or one dry practice turn; points at the legal log and replaces nothing of it",
        (
            _ref("job_id", "job", needed=True),
            _int("dive_no", 1, 9999, needed=True),
            _date("dive_date", needed=True),
            _text("sheet", 40),
            _text("log_ref", 120),
            _word("record_class"),
            _word("setting"),
            _word("water"),
            _ref("diver_id", "person", needed=True),
            _text("crew", 12),
            _ref("tender_id", "person"),
            _ref("supervisor_id", "person"),
            _ref("rig_id", "rig"),
            _ref("bank_id", "bank"),
            _real("depth_msw", 0, 300),
            _word("visibility"),
            _word("current"),
            _word("surge"),
            _real("water_temp_c", -2, 40),
            _real("bottom_time_s", 0, 36_000),
            _real("work_time_s", 0, 36_000),
            _real("start_up_s", 0, 36_000),
            _int("calls_made", 0, 10_000),
            _int("calls_right", 0, 10_000),
            _int("faults", 0, 1000),
        ),
        keys=(("job_id", "dive_no"),),
        rules=(
            ("dry practice has no depth", "NOT (coalesce(setting, '') = 'dry practice' AND depth_msw IS NOT NULL)"),
        ),
    ),
    Table(
        "cut",
        "one continuous piece of work by one diver on one line in one dive",
        (
            _ref("dive_id", "dive", needed=True),
            _ref("line_id", "line", needed=True),
            _int("row", 1, 999, needed=True),
            _real("thickness_mm", 1, 300),
            _ref("rod_type_id", "rod_type"),
            _word("family"),
            _word("pass_kind", needed=True),
            _time("start_at"),
            _time("stop_at"),
            _real("elapsed_s", 1, 36_000),
            _real("burn_s", 0, 36_000),
            _real("hot_s", 0, 36_000),
            _real("new_length_mm", 0, 204_000),
            _real("burned_length_mm", 0, 204_000),
            _int("restarts", 0, 200),
            _int("hangers", 0, 200),
            _word("hangers_at"),
            _word("power"),
            _real("set_a", 5, 1500),
            _real("delivered_a", 5, 1500),
            _real("static_kpa", 0, 3500),
            _real("flowing_kpa", 0, 3500),
            _real("over_bottom_kpa", 0, 3500),
            _real("bank_start_kpa", 0, 35_000),
            _real("bank_end_kpa", 0, 35_000),
            _word("position"),
            _word("fouling"),
            _word("backing"),
            _real("lean_deg", 0, 70),
            _word("edge"),
            _word("outcome", needed=True),
            _word("technique", many=True),
            _text("remark", 500),
            _text("twice_why", 300),
        ),
        keys=(("dive_id", "row"),),
        rules=(
            ("a cut stops after it starts", "stop_at IS NULL OR start_at IS NULL OR stop_at > start_at"),
            (
                "only a first pass makes new length",
                "pass_kind = 'first' OR coalesce(new_length_mm, 0) = 0",
            ),
        ),
    ),
    Table(
        "tally",
        "a count of rods over a stated scope; a box tally counts the box alone and is never a rate",
        (
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _date("day"),
            _word("scope", "tally_scope", needed=True),
            _ref("rod_type_id", "rod_type"),
            _real("rods", 0, 2000),
            _word("rods_basis", "basis", needed=True),
            _int("issued", 0, 2000),
            _int("returned", 0, 2000),
            _int("lost", 0, 500),
            _int("broken_or_wet", 0, 500),
            _int("would_not_light", 0, 500),
            _text("lot", 40),
            _text("count_basis", 60),
        ),
        rules=(
            (
                "no more rods come back than went out",
                "returned IS NULL OR issued IS NULL OR returned <= issued",
            ),
            ("a tally has a dive or a day", "dive_id IS NOT NULL OR day IS NOT NULL"),
            (
                "rods are blank when, and only when, nobody counted",
                "(rods IS NULL) = (rods_basis IN ('not recorded', 'does not apply'))",
            ),
            ("a box tally has no rods burned", "scope <> 'box' OR rods IS NULL"),
        ),
    ),
    Table(
        "rod_part",
        "what was left of one part-burned rod",
        (
            _ref("tally_id", "tally", needed=True),
            _int("seq", 1, 200, needed=True),
            _real("stub_mm", 0, 1000, needed=True),
        ),
        keys=(("tally_id", "seq"),),
    ),
    Table(
        "tally_cut",
        "a cut that a tally covers",
        (_ref("tally_id", "tally", needed=True), _ref("cut_id", "cut", needed=True)),
        keys=(("tally_id", "cut_id"),),
    ),
    Table(
        "reading",
        "one look at the gauges",
        (
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _ref("rig_id", "rig"),
            _ref("bank_id", "bank"),
            _time("read_at"),
            _int("after_rod", 0, 2000),
            _real("bank_kpa", 0, 35_000),
            _real("static_kpa", 0, 3500),
            _real("flowing_kpa", 0, 3500),
            _real("temp_c", -30, 60),
            _text("gauge", 40),
            _word("reason", "reading_reason"),
        ),
        rules=(
            (
                "a reading has at least one pressure",
                "bank_kpa IS NOT NULL OR static_kpa IS NOT NULL OR flowing_kpa IS NOT NULL",
            ),
        ),
    ),
    Table(
        "happening",
        "a stoppage, a defect or an event",
        (
            Field("kind", "TEXT", needed=True, among=("stoppage", "defect", "event")),
            _text("word", 120, needed=True),
            _ref("job_id", "job", needed=True),
            _ref("dive_id", "dive"),
            _ref("cut_id", "cut"),
            _int("count", 1, 99),
            _real("seconds", 1, 36_000),
            _word("place", "hangers_at"),
            _word("outcome", "event_outcome"),
            _time("at"),
            _text("report_ref", 60),
            _text("text", 1000),
        ),
        rules=tuple(
            (
                f"word holds words of the list {kind}",
                f"kind <> '{kind}' OR word LIKE 'other: _%' OR word IN "
                f"({', '.join(repr(word) for word in words(kind))})",
            )
            for kind in ("stoppage", "defect", "event")
        ),
    ),
    Table(
        "flag_decision",
        "what somebody decided about a flag",
        (
            _text("rule", 60, needed=True),
            _text("target", 60, needed=True),
            _word("decision", needed=True),
            _text("why", 300, needed=True),
        ),
    ),
    Table(
        "fit_run",
        "a fit with the frame it used, so that a frozen figure repeats",
        (
            _text("kind", 40, needed=True),
            _text("data_hash", 64, needed=True),
            Field("payload", "TEXT", needed=True, shape="json"),
        ),
        secret=("payload",),
    ),
    Table(
        "estimate",
        "a bid: draft, issued or closed",
        (
            _text("code", 20, needed=True),
            Field("state", "TEXT", needed=True, among=("draft", "issued", "closed")),
            _text("title", 120),
            _text("content_hash", 64, needed=True),
            Field("payload", "TEXT", needed=True, shape="json"),
            Field("actual", "TEXT", shape="json"),
        ),
        keys=(("code",),),
        secret=("payload",),
    ),
    Table(
        "sourced_value",
        "a value the user brought: a section, a rule of thumb, a price; never without a source",
        (
            Field("kind", "TEXT", needed=True, among=("section", "rule", "price")),
            _text("name", 120, needed=True),
            Field("value", "REAL"),
            _text("unit", 20),
            Field("detail", "TEXT", needed=True, shape="json", default="'{}'"),
            _text("source", 200, needed=True),
        ),
        keys=(("kind", "name", "detail"),),
    ),
)
"""Every table of the record, parents first. Each also has no, id, as_typed, created_at, created_by and voided_at."""

NUMBERED: Mapping[str, Table] = {table.name: table for table in TABLES}
MASTERS = ("job", "person", "rod_type", "rig", "bank")
