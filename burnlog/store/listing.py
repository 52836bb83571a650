"""What `list` shows of each kind of row; every query takes :job and :dive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["LISTS", "Listing"]


@dataclass(frozen=True)
class Listing:
    """A query and the table whose columns it shows, under their own names."""

    table: str
    query: str


LISTS: Mapping[str, Listing] = {
    "jobs": Listing(
        "job",
        "SELECT code AS job, title, record_class, water, start_date FROM job WHERE voided_at IS NULL ORDER BY code",
    ),
    "people": Listing(
        "person",
        "SELECT code AS person, roles FROM person WHERE voided_at IS NULL ORDER BY code",
    ),
    "rod-types": Listing(
        "rod_type",
        "SELECT code AS rod_type, family, outer_dia_mm, length_mm, planned_stub_mm, pack_count "
        "FROM rod_type WHERE voided_at IS NULL ORDER BY code",
    ),
    "rigs": Listing(
        "rig",
        "SELECT code AS rig, power_kind, rated_a, hose_length_m FROM rig WHERE voided_at IS NULL ORDER BY code",
    ),
    "banks": Listing(
        "bank",
        "SELECT code AS bank, cylinders, contents_kg_each, label_pressure_kpa FROM bank WHERE voided_at IS NULL "
        "ORDER BY code",
    ),
    "lines": Listing(
        "line",
        "SELECT j.code || ' ' || l.code AS line, l.section, l.thickness_mm, l.planned_length_mm FROM line l "
        "JOIN job j ON j.id = l.job_id WHERE l.voided_at IS NULL AND (:job IS NULL OR j.code = :job) "
        "ORDER BY j.code, l.no",
    ),
    "dives": Listing(
        "dive",
        "SELECT j.code || ' ' || d.dive_no AS dive, d.dive_date, p.code AS diver, d.crew, d.setting, d.sheet "
        "FROM dive d JOIN job j ON j.id = d.job_id JOIN person p ON p.id = d.diver_id WHERE d.voided_at IS NULL "
        "AND (:job IS NULL OR j.code = :job) AND (:dive IS NULL OR d.dive_no = :dive) ORDER BY j.code, d.dive_no",
    ),
    "cuts": Listing(
        "cut",
        "SELECT c.no AS cut, j.code || ' ' || d.dive_no || '.' || c.row AS place, l.code AS line, "
        "c.pass_kind AS pass, c.new_length_mm, c.thickness_mm, c.outcome FROM cut c JOIN dive d ON d.id = c.dive_id "
        "JOIN job j ON j.id = d.job_id JOIN line l ON l.id = c.line_id WHERE c.voided_at IS NULL "
        "AND (:job IS NULL OR j.code = :job) AND (:dive IS NULL OR d.dive_no = :dive) "
        "ORDER BY j.code, d.dive_no, c.row",
    ),
    "tallies": Listing(
        "tally",
        "SELECT t.no AS tally, j.code || coalesce(' ' || d.dive_no, '') AS place, t.scope, "
        "r.code AS rod_type, "
        "t.rods, t.rods_basis, t.issued, t.returned FROM tally t JOIN job j ON j.id = t.job_id "
        "LEFT JOIN dive d ON d.id = t.dive_id LEFT JOIN rod_type r ON r.id = t.rod_type_id WHERE t.voided_at IS NULL "
        "AND (:job IS NULL OR j.code = :job) AND (:dive IS NULL OR d.dive_no = :dive) "
        "ORDER BY j.code, t.no",
    ),
    "estimates": Listing(
        "estimate",
        "SELECT code AS estimate, state, title, created_at FROM estimate WHERE voided_at IS NULL ORDER BY no",
    ),
}
