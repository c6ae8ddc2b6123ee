"""What runs again and what does not. Expected numbers are worked by hand from the toy survey
1.25 2.5 / 3.75 4.5: whole metres 1 2 / 3 4, their sum 10, times the factor 2 is 20."""

import gc
import weakref
from dataclasses import replace

import numpy as np
import pytest

from brimline.errors import Severity
from brimline.layers import Raster

ALL = ("read", "rows", "level", "swell", "sum")


def test_the_first_run_makes_every_value(site):
    result = site.run()
    assert set(result.ran) == set(ALL)
    assert result.value("sum")["total_m"] == 20.0
    np.testing.assert_array_equal(result.value("whole"), [[1, 2], [3, 4]])
    assert result.value("rows")["mean_m"].tolist() == [1.875, 4.125]


def test_nothing_runs_again_when_nothing_changed(site, log):
    first = site.run()
    second = site.run(listener=log)
    assert second.ran == ()
    assert second.outputs == first.outputs
    assert set(log.finished_as.values()) == {"reused"}
    assert log.why == {}
    assert second.value("sum")["total_m"] == 20.0


def test_content_counts_not_dates_or_folders(site):
    site.run()
    site.write(site.survey.read_text())
    assert site.run().ran == ()


def test_a_parameter_reruns_only_what_depends_on_it(site, log):
    site.run()
    site.swell.factor = 3.0
    result = site.run(listener=log)
    assert result.ran == ("swell", "sum")
    assert result.value("sum")["total_m"] == 30.0
    assert log.why == {
        "swell": "swell.factor changed from 2.0 to 3.0",
        "sum": "swollen changed",
    }


def test_what_is_made_is_told_with_all_that_is_there_reused_or_not(site):
    site.run()
    site.swell.factor = 3.0
    told = []
    site.run(on_made=lambda made, there: told.append((set(made), set(there))))
    assert [made for made, _ in told] == [{"swollen"}, {"sum"}]
    assert all(there >= {"grid", "ground", "whole"} | made for made, there in told)


def test_parameters_are_compared_after_validation(site, toys):
    site.swell = toys["Swell"](factor=50)
    site.run()
    site.swell = toys["Swell"](factor=50.0)
    assert site.run().ran == ()


def test_going_back_to_an_earlier_value_reuses_the_earlier_result(site):
    site.run()
    site.swell.factor = 3.0
    site.run()
    site.swell.factor = 2.0
    result = site.run()
    assert result.ran == ()
    assert result.value("sum")["total_m"] == 20.0


def test_a_changed_input_reruns_what_it_reaches(site, log):
    site.run()
    site.write("1.25 2.5\n3.75 9.5\n")
    result = site.run(listener=log)
    assert set(result.ran) == set(ALL)
    assert result.value("sum")["total_m"] == 30.0
    assert log.why["read"] == "input survey: survey.txt changed"
    assert log.why["level"] == "ground changed"  # the grid did not


def test_a_stage_that_makes_the_same_again_stops_the_chain(site):
    site.run()
    site.write("1.75 2.5\n3.75 4.5\n")  # whole metres stay
    assert set(site.run().ran) == {"read", "rows", "level"}


def test_code_version_libraries_and_declarations_are_in_the_key(site, log, toys):
    site.run()
    site.code["swell"] = {"toys": "1", "toys._kernels": "2"}
    assert site.run(listener=log).ran == ("swell",)  # same numbers: the sum is not run again
    assert log.why["swell"] == "code of toys._kernels changed"
    newer = tuple(replace(s, version=2) if s.name == "sum" else s for s in toys["STAGES"])
    assert site.run(newer, listener=log).ran == ("sum",)
    assert log.why["sum"] == "version of the stage changed"
    site.catalogue["whole"] = Raster("whole", "float32", -1.0, "Whole", "Ground.")
    assert site.run(newer, listener=log).ran == ("level",)
    assert log.why["level"] == "declaration of whole changed"
    site.versions["numpy"] = "2.1"
    assert set(site.run(newer, listener=log).ran) == set(ALL)
    assert log.why["rows"] == 'numpy changed from "2.0" to "2.1"'


def test_the_words_of_a_declaration_are_not_in_the_key(site):
    site.run()
    site.catalogue["whole"] = replace(site.catalogue["whole"], title="T", meaning="M")
    assert site.run().ran == ()


def test_a_rebuild_makes_the_same_bytes(site):
    first = site.run()
    again = site.run(rebuild=True)
    assert set(again.ran) == set(ALL)
    assert again.outputs == first.outputs


def test_first_run_rebuild_and_lost_results_say_so(site, log):
    site.run(listener=log)
    assert set(log.why.values()) == {"first run"}
    site.run(listener=log, rebuild=True)
    assert set(log.why.values()) == {"a rebuild was asked for"}
    for record in (site.store.folder / "results").iterdir():
        record.unlink()
    site.run(listener=log)
    assert set(log.why.values()) == {"its stored result is gone or damaged"}


def test_until_runs_a_stage_and_what_it_builds_on(site):
    assert site.run(until="level").ran == ("read", "level")
    assert set(site.run().ran) == {"rows", "swell", "sum"}


def test_warnings_are_told_again_on_reuse(site, log):
    site.write("95 1\n")
    site.run()
    result = site.run(listener=log)
    assert result.ran == ()
    assert [(name, p.severity) for name, p in log.problems] == [("read", Severity.WARNING)]
    assert result.stages[0].problems == (log.problems[0][1],)


def test_progress_reaches_the_listener(site, log):
    site.run(listener=log)
    assert log.notes == [("read", 0.5, "half way")]


def test_an_interrupt_passes_through_and_the_next_run_goes_on(site, toys):
    def interrupted(_given, _report):
        raise KeyboardInterrupt

    stages = (*toys["STAGES"][1:], replace(toys["SUM"], run=interrupted))
    with pytest.raises(KeyboardInterrupt):
        site.run(stages)
    assert list((site.store.folder / "partial").iterdir()) == []
    assert site.run().ran == ("sum",)


def test_an_exception_names_the_stage(site, toys):
    def broken(_given, _report):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError) as caught:
        site.run((*toys["STAGES"][1:], replace(toys["SUM"], run=broken)))
    assert caught.value.__notes__ == ["in stage sum (Add up)"]


def test_values_are_let_go_after_their_last_use(site, toys):
    refs = {}

    def watched_level(given, report):
        made = toys["run_level"](given, report)
        refs["whole"] = weakref.ref(made["whole"])
        return made

    def watched_sum(given, report):
        gc.collect()
        refs["alive at sum"] = refs["whole"]() is not None
        return toys["run_sum"](given, report)

    def watched_swell(given, report):
        refs["alive at swell"] = refs["whole"]() is not None
        return toys["run_swell"](given, report)

    runs = {"level": watched_level, "sum": watched_sum, "swell": watched_swell}
    site.run(tuple(replace(s, run=runs.get(s.name, s.run)) for s in toys["STAGES"]))
    assert refs["alive at swell"]
    assert not refs["alive at sum"]


def test_a_reused_raster_is_only_read_when_a_stage_needs_it(site, toys, monkeypatch):
    site.run()
    read = []
    inner = toys["ToyCodec"].read
    monkeypatch.setattr(
        toys["ToyCodec"],
        "read",
        lambda self, path, item: read.append(item.name) or inner(self, path, item),
    )
    site.swell.factor = 3.0
    site.run()
    assert read == ["whole"]  # `swollen` was in memory for `sum`; `ground` was never needed


def test_published_items_are_those_the_catalogue_publishes(site):
    assert [item.name for item in site.run().published] == ["ground", "swollen", "rows"]


def test_rasters_that_there_is_no_room_for_are_read_again(site, toys, tmp_path, monkeypatch):
    kept = site.run().outputs
    monkeypatch.setattr("brimline.engine.run._HELD_BYTES", 20)  # bytes
    read, codec = [], toys["ToyCodec"]
    plain = codec.read
    monkeypatch.setattr(
        codec, "read", lambda s, p, item: read.append(item.name) or plain(s, p, item)
    )
    (tmp_path / "fresh").mkdir()
    fresh = type(site)(tmp_path / "fresh")
    assert fresh.run().outputs == kept
    assert read == ["swollen"]  # waited for `sum`
