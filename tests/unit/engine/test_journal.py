"""The log has one JSON object a line; the manifest accounts for inputs, parameters and results."""

import hashlib
import json
from dataclasses import replace

import pytest

from brimline.engine.journal import Journal, manifest
from brimline.errors import InternalError, StoreError


def lines(path):
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def test_the_log_tells_the_run_and_passes_everything_on(site, log, tmp_path):
    site.write("95 1\n")
    journal = Journal(tmp_path / "log.jsonl", log)
    journal.write("run started", site="Toy")
    site.run(listener=journal, until="level")
    told = [(line["event"], line.get("stage")) for line in lines(tmp_path / "log.jsonl")]
    assert told == [
        ("run started", None),
        ("stage started", "read"),
        ("problem", "read"),
        ("stage finished", "read"),
        ("stage started", "level"),
        ("stage finished", "level"),
    ]
    assert log.finished_as == {"read": "run", "level": "run"}
    assert [name for name, _ in log.problems] == ["read"]
    assert log.notes == [("read", 0.5, "half way")]


def test_a_long_log_is_set_aside(tmp_path, log):
    path = tmp_path / "log.jsonl"
    path.write_text("x" * 4_000_001)
    Journal(path, log).write("run started")
    assert len(lines(path)) == 1
    assert (tmp_path / "log.jsonl.1").stat().st_size == 4_000_001


def test_a_log_that_cannot_be_written_is_explained(tmp_path, log):
    (tmp_path / "log.jsonl").mkdir()
    with pytest.raises(StoreError):
        Journal(tmp_path / "log.jsonl", log).write("run started")


def test_the_manifest_accounts_for_everything(site):
    site.write("95.5 1\n2 3\n")
    result = site.run()
    found = manifest(result, site.inputs, version="0.1.0", base=site.folder)
    assert json.loads(json.dumps(found)) == found
    content = site.survey.read_bytes()
    sha256 = hashlib.sha256(content).hexdigest()
    assert found["inputs"]["survey"] == {
        "said": {"layer": None},
        "files": [{"path": "survey.txt", "bytes": len(content), "sha256": sha256}],
    }
    assert found["parameters"] == {"swell": {"factor": 2.0, "note": ""}}
    assert found["versions"] == {"numpy": "2.0"}
    assert found["headline"] == {"total_m": 202.0}  # (95 + 1 + 2 + 3) times 2
    assert found["warnings"] == 1
    assert found["problems"][0]["message"] == "very high ground"
    assert found["stages"][0]["name"] == "read"
    assert {stage["why"] for stage in found["stages"]} == {"first run"}
    assert found["outputs"]["sum"] == result.outputs["sum"].digest
    again = manifest(site.run(), site.inputs, version="0.1.0", base=site.folder)
    assert all(stage["reused"] for stage in again["stages"])
    assert [s["made_seconds"] for s in again["stages"]] == [
        s["made_seconds"] for s in found["stages"]
    ]
    assert again["outputs"] == found["outputs"]
    assert again["headline"] == found["headline"]


def test_a_file_outside_the_site_is_named_in_full(site, tmp_path):
    found = manifest(site.run(), site.inputs, version="0.1.0", base=tmp_path / "elsewhere")
    assert found["inputs"]["survey"]["files"][0]["path"] == site.survey.as_posix()


def test_a_figure_given_twice_is_our_fault(site, toys):
    twin = replace(
        toys["SUM"],
        name="twin",
        makes=("twin",),
        run=lambda _given, _report: {"twin": {"headline": {"total_m": 1.0}}},
    )
    result = site.run((*toys["STAGES"], twin))
    with pytest.raises(InternalError, match="total_m is given twice"):
        manifest(result, site.inputs, version="0.1.0", base=site.folder)
