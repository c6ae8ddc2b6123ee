"""Earlier runs stay by date, as many as the rule says, and nothing else is removed."""

import json

from brimline.io.kept import earlier, forget_older, keep_dated


def run_folder(path, text):
    (path / "rasters").mkdir(parents=True)
    (path / "run.json").write_text(json.dumps({"brimline": "1"}))
    (path / "rasters" / "a.tif").write_text(text)
    return path


def test_the_copy_is_whole_and_outlives_the_original(tmp_path):
    target = run_folder(tmp_path / "site", "first")
    dated = keep_dated(target, "2026-04-12T09:30:00+02:00")
    assert dated.name == "site.20260412-073000"
    (target / "rasters" / "a.tif").unlink()
    assert (dated / "rasters" / "a.tif").read_text() == "first"
    assert keep_dated(target, "2026-04-12T07:30:00+00:00") == dated  # kept already


def test_only_the_newest_stay_and_only_runs_under_a_date_go(tmp_path):
    target = run_folder(tmp_path / "site", "now")
    for day in range(1, 5):
        keep_dated(target, f"2026-04-0{day}T00:00:00+00:00")
    run_folder(tmp_path / "site.as-built", "kept by hand")
    run_folder(tmp_path / "site2.20260401-000000", "of another site")
    (tmp_path / "site.20260301-000000").mkdir()  # no run
    forget_older(target, 2)
    assert [path.name for path in earlier(target)] == [
        "site.20260404-000000",
        "site.20260403-000000",
    ]
    left = {path.name for path in tmp_path.iterdir()}
    assert {"site", "site.as-built", "site2.20260401-000000", "site.20260301-000000"} <= left
    assert len(left) == 6


def test_runs_from_tomorrow_go_first(tmp_path):
    target = run_folder(tmp_path / "site", "now")
    for when in ("2026-04-01", "2026-04-02", "2999-01-01"):
        keep_dated(target, f"{when}T00:00:00+00:00")
    forget_older(target, 2)
    assert [path.name[5:13] for path in earlier(target)] == ["20260402", "20260401"]
