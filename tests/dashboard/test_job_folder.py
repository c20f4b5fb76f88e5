"""The jobs of a folder: found by name, none of them and none of their files outside of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from meterlog.errors import JobError
from meterlog.job.entering import begin_with
from meterlog.job.job import Job
from meterlog.job.job_file import create_job, set_value
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from meterlog_dashboard.job.folder import JobFolders


def make(folder: Path, vehicle: str = "blue van") -> Job:
    job = create_job(folder, complaint="no start", vehicle=vehicle, meters=(), tool="meter", details={})
    return begin_with(job, "pump-feed")


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    folder = tmp_path / "shop"
    folder.mkdir()
    return folder


def test_jobs_are_listed_with_the_one_that_changed_last_first(shop: Path) -> None:
    for age, name in enumerate(("new", "older", "oldest")):
        make(shop / name)
        os.utime(shop / name / "job.toml", (1e9 - age, 1e9 - age))
    (shop / "no-job").mkdir()
    assert JobFolders(shop).names() == ["new", "older", "oldest"]


@pytest.mark.parametrize("name", ["", ".", "..", "../outside", "a/../../outside", "x\0", "a" * 5000, ".hidden", "gone"])
def test_no_name_reaches_outside_of_the_folder(shop: Path, name: str) -> None:
    make(shop.parent / "outside")
    make(shop / ".hidden")
    with pytest.raises(JobError, match="there is no job"):
        JobFolders(shop).folder(name)


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_no_link_is_followed_out_of_the_folder(shop: Path) -> None:
    outside = make(shop.parent / "outside").folder
    make(shop / "own")
    (shop / "linked").symlink_to(outside)
    (shop / "half").mkdir()
    (shop / "half" / "job.toml").symlink_to(outside / "job.toml")
    jobs = JobFolders(shop)
    assert jobs.names() == ["own"]
    for name in ("linked", "half"):
        with pytest.raises(JobError, match="there is no job"):
            jobs.status(name)


@pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")
def test_a_circuit_that_lies_elsewhere_is_refused(shop: Path) -> None:
    make(shop / "own")
    secret = shop.parent / "secret.toml"
    (shop / "own" / "pump-feed.toml").rename(secret)
    (shop / "own" / "pump-feed.toml").symlink_to(secret)
    with pytest.raises(JobError, match=r"'pump-feed\.toml' is not in the folder of the job 'own'"):
        JobFolders(shop).status("own")


def test_a_session_named_by_its_path_is_refused(shop: Path) -> None:
    job = make(shop / "own")
    path = job.folder / "job.toml"
    step = 'step = "measured"\nquantity = "voltage"\nat = "fuse_out"\nvalue = 12.0\nsession = "/etc/x.sqlite"\n'
    path.write_text(path.read_text() + f"\n[[step]]\n{step}")
    with pytest.raises(JobError, match="is not in the folder"):
        JobFolders(shop).read("own")


def test_the_standing_follows_the_file(shop: Path) -> None:
    job, jobs = make(shop / "own"), JobFolders(shop)
    first, version = jobs.status("own")
    assert jobs.status("own") == (first, version)
    set_value(job.folder, "vehicle", "red van")
    again, later = jobs.status("own")
    assert later != version
    assert again.job.vehicle == "red van"


def test_a_new_folder_is_named_by_the_day_and_the_words(shop: Path) -> None:
    jobs = JobFolders(shop)
    name = jobs.free_name("Blue van /../ dies, now & then!")
    assert name.endswith("-blue-van-dies-now-then")
    (shop / name).mkdir()
    assert jobs.free_name("Blue van /../ dies, now & then!") == f"{name}-2"


def test_the_page_never_says_where_its_folder_lies(shop: Path) -> None:
    make(shop / "own")
    (shop / "own" / "job.toml").write_text("format = 1\ncomplaint = 3\n")
    (shop / "damaged.sqlite").write_bytes(b"noise" * 1000)
    client = build(shop, Access(LOOPBACK, 80, lan=None, announce=lambda _: None)).server.test_client()
    for path in ("/job/own", "/files/damaged.sqlite/html", "/live/damaged.sqlite"):
        said = client.get(path, base_url="http://127.0.0.1").get_data(as_text=True)
        assert str(shop.parent) not in said
    answer = client.post(
        "/_dash-update-component",
        base_url="http://127.0.0.1",
        json={
            "output": "view.children",
            "outputs": {"id": "view", "property": "children"},
            "inputs": [
                {"id": "address", "property": "pathname", "value": "/jobs"},
                {"id": "address", "property": "search", "value": ""},
            ],
            "changedPropIds": ["address.pathname"],
        },
    )
    said = str(answer.get_json())
    assert "own/job.toml, line 2: " in said
    assert str(shop.parent) not in said
