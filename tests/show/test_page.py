"""The live page's program: what it answers, what it refuses, and that each refusal is a sentence."""

from __future__ import annotations

import shutil
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from quietcool.entry.buildfile import read_build
from quietcool.entry.demos import demo_path
from quietcool.show import page_save
from quietcool.show.page import create_page
from quietcool.show.page_save import NotSaved, save_setting, with_speeds
from quietcool.solve.operating_point import solve_operating_point
from tests.show.solved_rigs import HOSTILE, hostile

SETTING: dict[str, Any] = {
    "state": "bounce", "room_temp_c": 22.0, "speeds_rpm": {"front": 600, "bottom": 0, "pump": 2000}, "layouts": {},
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the small demo that may be written to."""
    shutil.copytree(demo_path("sample_room").parent, tmp_path / "rig")
    return tmp_path / "rig"


@pytest.fixture
def app(folder: Path) -> FastAPI:
    return create_page(read_build(folder / "build.toml"), folder / "build.toml")


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url="http://127.0.0.1:8000") as made:
        yield made


def test_numbers_are_those_of_the_solver(client: TestClient, folder: Path) -> None:
    answer = client.post("/api/solve", json=SETTING)
    assert answer.status_code == 200
    build = read_build(folder / "build.toml")
    point = solve_operating_point(build, build.state("bounce"), [10.0, 0.0, 2000.0 / 60.0])
    said = answer.json()
    readings = {one["name"]: one["value"] for one in said["readings"]}
    assert readings["coolant"] == pytest.approx(float(point.coolant_temp_max) - 273.15, abs=1e-6)
    assert readings["cpu core"] == pytest.approx(float(point.point_temp[0]) - 273.15, abs=1e-6)
    assert readings["coolant flow"] == pytest.approx(float(point.coolant_flow) * 60_000.0, rel=1e-6)
    assert readings["seat"] == pytest.approx(float(point.level[0]), abs=1e-9)
    assert readings["percussion microphone"] == pytest.approx(float(point.level[1]), abs=1e-9)
    assert said["sources"][1] == {"name": "bottom", "level_dba": None}  # it stands still
    for one in said["readings"]:
        if one["limit"] is not None:
            sign = 1.0 if one["name"] == "coolant flow" else -1.0
            assert one["margin"] == pytest.approx(sign * (one["value"] - one["limit"]), abs=1e-6)
            assert one["kept"] == (one["margin"] >= 0.0)


def test_room_and_layout_change_what_is_solved(client: TestClient) -> None:
    def coolant(**changes: Any) -> float:
        said = client.post("/api/solve", json=SETTING | changes).json()
        return next(one["value"] for one in said["readings"] if one["name"] == "coolant")

    base = coolant()
    assert coolant(room_temp_c=26.0) == pytest.approx(base + 4.0, abs=0.3)  # all air is 4 K warmer
    assert coolant(layouts={"front intake": "push"}) == base  # as built
    assert coolant(layouts={"front intake": "push-pull"}) < base - 0.2


def test_pictures_follow(client: TestClient) -> None:
    answer = client.post("/api/pictures", json=SETTING | {"path": "front intake"})
    assert answer.status_code == 200
    shown = {one["name"]: one for one in answer.json()["pictures"]}
    assert set(shown) == {"fan-curves", "air-map", "coolant-ring", "loudest"}
    assert shown["air-map"]["drawing"].startswith("<svg")
    assert "600 rpm" in shown["fan-curves"]["title"]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"state": "bounced"}, "did you mean"),
        ({"speeds_rpm": {"front": 600, "pump": 2000}}, "a speed of every group; found none of bottom"),
        ({"speeds_rpm": {"front": 600, "bottom": 0, "pump": 2000, "frond": 1}}, 'found "frond"'),
        ({"speeds_rpm": {"front": 1e9, "bottom": 0, "pump": 2000}}, "less than or equal to 30000"),
        ({"speeds_rpm": {"front": -1, "bottom": 0, "pump": 2000}}, "greater than or equal to 0"),
        ({"speeds_rpm": {"front": 300, "bottom": 0, "pump": 2000}}, "front needs 400 to 1200 rpm; found 300"),
        ({"speeds_rpm": {"front": 0, "bottom": 0, "pump": 2000}}, "front needs 400 to 1200 rpm; found 0"),
        ({"speeds_rpm": {"front": 600, "bottom": 9, "pump": 2000}}, "bottom needs 460 to 1500 rpm, or 0; found 9"),
        ({"room_temp_c": 1e6}, "less than or equal to 60"),
        ({"layouts": {"front intake": "sideways"}}, "front intake can be push or pull or push-pull"),
        ({"layouts": {"rear vent": "push"}}, "an air path with a radiator and fans"),
        ({"extra": 1}, "extra inputs are not permitted"),
        ({"state": 7}, "valid string"),
    ],
)
def test_bad_values_are_refused_with_a_sentence(client: TestClient, changes: dict[str, Any], said: str) -> None:
    answer = client.post("/api/solve", json=SETTING | changes)
    assert answer.status_code == 422
    assert said in answer.json()["detail"]


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_number_is_refused(client: TestClient, number: str) -> None:
    body = f'{{"state":"bounce","room_temp_c":22,"speeds_rpm":{{"front":{number},"bottom":0,"pump":2000}}}}'
    answer = client.post("/api/solve", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert "finite" in answer.json()["detail"]


@pytest.mark.parametrize("body", ["{", "[" * 30_000, "null", "[]", '"x"', "\x00"])
def test_what_is_no_setting_is_refused(client: TestClient, body: str) -> None:
    answer = client.post("/api/solve", content=body, headers={"content-type": "application/json"})
    assert 400 <= answer.status_code < 500
    assert isinstance(answer.json()["detail"], str)


def test_a_body_of_two_megabytes_is_refused(client: TestClient) -> None:
    big = b'{"state": "' + b"x" * 2_000_000 + b'"}'
    told = client.post("/api/solve", content=big, headers={"content-type": "application/json"})
    assert told.status_code == 413
    assert "larger than" in told.json()["detail"]
    untold = client.post("/api/solve", content=iter([big]), headers={"content-type": "application/json"})
    assert untold.status_code == 413  # whatever length it claims, or none


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "", "localhost:x", "[::1]", "0.0.0.0"])
def test_a_foreign_host_gets_400(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 400


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8000", "localhost:80"])
def test_its_own_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8000", "http://127.0.0.1:9"])
def test_other_pages_are_refused(client: TestClient, origin: str) -> None:
    answer = client.post("/api/save", json=SETTING, headers={"origin": origin})
    assert answer.status_code == 403
    assert client.post("/api/solve", json=SETTING, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.post("/api/solve", json=SETTING, headers={"origin": "http://127.0.0.1:8000"}).status_code == 200


def test_a_form_of_another_page_cannot_post(client: TestClient) -> None:
    answer = client.post("/api/save", content="{}", headers={"content-type": "text/plain"})
    assert answer.status_code == 415


def test_every_answer_has_its_policy(client: TestClient) -> None:
    refused = client.get("/", headers={"host": "x"})
    for answer in (client.get("/"), client.get("/page.js"), client.get("/nowhere"), refused):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
    assert "http:" not in client.get("/").text.replace("http://www.w3.org", "")


def test_markup_in_names_is_text(folder: Path) -> None:
    build = hostile(read_build(folder / "build.toml"))
    with TestClient(create_page(build, folder / "build.toml"), base_url="http://127.0.0.1") as client:
        page = client.get("/").text
        assert HOSTILE not in page
        assert page.count("<script") == 5  # two of JSON, three of its own
        assert "<img" not in page
        asked = SETTING | {"state": build.states[2].name}
        answer = client.post("/api/solve", json=asked)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "application/json"


def test_a_setting_is_saved_beside_the_build_file(client: TestClient, folder: Path) -> None:
    before = (folder / "build.toml").read_bytes()
    said = client.post("/api/save", json=SETTING).json()
    assert (folder / "build.toml").read_bytes() == before
    saved = read_build(folder / said["build_file"])
    present = [one.present for one in saved.speed_ranges]
    assert present == pytest.approx([10.0, 0.0, 2000.0 / 60.0])
    assert "2,bottom,0," in (folder / said["channel_table"]).read_text()
    again = client.post("/api/save", json=SETTING).json()
    assert again["build_file"] != said["build_file"]  # nothing is written over
    kept = tomllib.loads(before.decode())
    copy = tomllib.loads((folder / said["build_file"]).read_text())
    for tree in (kept, copy):
        tree["loop"].pop("pump_rpm")
        for group in tree["fan_group"]:
            group.pop("rpm", None)
    assert copy == kept


@pytest.mark.parametrize(("layout", "order"), [("pull", [1, 0]), ("push-pull", [0, 1, 0])])
def test_a_layout_is_saved_as_the_order_of_its_stack(
    client: TestClient, folder: Path, layout: str, order: list[int]
) -> None:
    """A push fan stands before the core, a pull fan behind it, in the order in which the air meets them."""
    said = client.post("/api/save", json=SETTING | {"layouts": {"front intake": layout}}).json()
    before, after = (tomllib.loads((folder / name).read_text()) for name in ("build.toml", said["build_file"]))
    stack = before["air_path"][0]["stack"]
    assert "fans" in stack[0]
    assert "radiator" in stack[1]
    assert after["air_path"][0]["stack"] == [stack[n] for n in order]
    assert after["air_path"][1:] == before["air_path"][1:]
    path = read_build(folder / said["build_file"]).air_paths[0]
    assert path.layout == layout


@pytest.mark.parametrize(
    "stack", ['[ # a remark\n  { fans = "front", count = 3 }, { radiator = "radiator-s-420x45" } ]', "tables"]
)
def test_a_stack_that_cannot_be_moved_safely_is_left_alone(folder: Path, stack: str) -> None:
    text = (folder / "build.toml").read_text()
    start = text.index("stack = [")
    end = text.index("]", start) + 1
    written = f"stack = {stack}"
    if stack == "tables":
        written = '[[air_path.stack]]\nfans = "front"\ncount = 3\n[[air_path.stack]]\nradiator = "radiator-s-420x45"\n'
        end = text.index("[[air_path]]", end)
    (folder / "build.toml").write_text(text[:start] + written + text[end:])
    app = create_page(read_build(folder / "build.toml"), folder / "build.toml")
    with TestClient(app, base_url="http://127.0.0.1") as client:
        answer = client.post("/api/save", json=SETTING | {"layouts": {"front intake": "pull"}})
    assert answer.status_code == 409
    assert "by hand" in answer.json()["detail"]
    assert not list(folder.glob("*setting*"))


def test_a_build_file_that_has_changed_is_not_copied(client: TestClient, folder: Path) -> None:
    with (folder / "build.toml").open("a") as file:
        file.write("\n# a remark\n")
    answer = client.post("/api/save", json=SETTING)
    assert answer.status_code == 409
    assert "has changed" in answer.json()["detail"]


def test_a_folder_that_cannot_be_written_to_is_a_sentence(
    client: TestClient, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(path: Path, text: str) -> None:
        raise NotSaved("read-only")

    monkeypatch.setattr(page_save, "write_whole", failing)
    answer = client.post("/api/save", json=SETTING)
    assert answer.status_code == 409
    assert not list(folder.glob("*setting*"))


def test_speeds_are_put_where_there_were_none() -> None:
    text = '[[fan_group]]\nname = "front"  # a remark\nfan = "x"\n\n[loop]\npump = "p"\n'
    changed = with_speeds(text, {"front": 612.5, "pump": 2000.0})
    assert tomllib.loads(changed) == {
        "fan_group": [{"name": "front", "fan": "x", "rpm": 612.5}], "loop": {"pump": "p", "pump_rpm": 2000},
    }  # fmt: skip
    assert "# a remark" in changed


def test_groups_written_in_another_way_are_left_alone() -> None:
    with pytest.raises(NotSaved, match="by hand"):
        with_speeds('fan_group = [{ name = "front" }]\n[loop]\npump = "p"\n', {"front": 600.0, "pump": 2000.0})


def test_a_read_only_original_is_enough(folder: Path) -> None:
    build = read_build(folder / "build.toml")
    (folder / "build.toml").chmod(0o444)
    copy, table = save_setting(build, folder / "build.toml", {"front": 500.0, "bottom": 0.0, "pump": 1800.0})
    assert copy.exists()
    assert table.exists()


def test_a_search_that_is_not_there_is_404(client: TestClient) -> None:
    for answer in (client.get("/api/quietest/9"), client.post("/api/stop", json={"search": "9"})):
        assert answer.status_code == 404
        assert "no search" in answer.json()["detail"]


@pytest.mark.slow
def test_a_search_runs_ends_and_can_be_stopped(client: TestClient) -> None:
    wanted = {"state": "bounce", "room_temp_c": 22.0, "seconds": 5.0}
    first = client.post("/api/quietest", json=wanted).json()["search"]
    second = client.post("/api/quietest", json=wanted).json()["search"]
    third = client.post("/api/quietest", json=wanted)
    assert third.status_code == 409
    assert "stop one or wait" in third.json()["detail"]
    assert client.post("/api/stop", json={"search": second}).json()["status"] == "cancelled"
    assert client.get(f"/api/quietest/{second}").json()["status"] == "cancelled"
    end = time.monotonic() + 120.0
    while (now := client.get(f"/api/quietest/{first}").json())["status"] == "running" and time.monotonic() < end:
        time.sleep(0.2)
    assert now["status"] == "found", now
    solved = client.post("/api/solve", json=SETTING | {"speeds_rpm": now["speeds_rpm"]}).json()
    assert all(one["kept"] for one in solved["readings"])
    assert solved["level_dba"] < client.post("/api/solve", json=SETTING).json()["level_dba"]


@pytest.mark.slow
def test_a_search_without_an_answer_says_so(client: TestClient) -> None:
    wanted = {"state": "bounce", "room_temp_c": 37.0, "seconds": 1.0}  # too warm for the limits
    name = client.post("/api/quietest", json=wanted).json()["search"]
    end = time.monotonic() + 120.0
    while (now := client.get(f"/api/quietest/{name}").json())["status"] == "running" and time.monotonic() < end:
        time.sleep(0.2)
    assert now["status"] == "infeasible"
    assert "No setting" in now["words"]


@pytest.mark.parametrize("key", ["\0", "\x1b[2J", "\u202e"])
def test_a_refusal_prints_whatever_was_asked(client: TestClient, key: str) -> None:
    """Found by the fuzz profile: names that were sent came back as they were."""
    for body in (SETTING | {key: 1}, SETTING | {"speeds_rpm": {key: []}}, SETTING | {"layouts": {key: "x" * 65}}):
        answer = client.post("/api/solve", json=body)
        assert answer.status_code == 422
        assert answer.json()["detail"].isprintable()
