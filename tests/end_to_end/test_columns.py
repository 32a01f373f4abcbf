"""Everything an export has comes along, also under names that are ours, and what is mapped is not lost."""

from pathlib import Path

from every import every
from issued import read_layer
from running import rewrite_export, run_written
from simulate import Plan, simulate


def test_mapped_evidence_and_columns_named_like_ours_come_along(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=5)).write(tmp_path)
    rewrite_export(
        tmp_path / "rover001.csv",
        lambda row: {**row, "base": f"own {row['Point']}", "held": "x", "first": "1", "pdop": "1.5", "fid": "9"},
    )
    issue = run_written(path)
    for row in every(read_layer(issue.package, "points").rows, 5):
        assert row["base"] == "BASE-01"  # mapped as base
        assert row["sigma_east"] > 0.0 and row["sigma_up"] > 0.0
        own = (row["base_export"], row["held_export"], row["first_export"], row["pdop_export"])
        assert own == (f"own {row['name']}", "x", "1", "1.5")
        assert row["fid_export"] == "9"
