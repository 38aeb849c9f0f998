"""Deployments and projects from text, each refusal at its line and column."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_dataset import demo_codec, demo_deployments, demo_project

from packcodec.dataset.inputs import read_deployments, read_project
from packcodec.errors import LogError

HEADER = "station,latitude,longitude,start,end"
GOOD = "north_hide,54.7,2.6,2027-04-01T05:00:00Z,2027-04-21T20:00:00Z"

ELSEWHERE = "north_hide,54.8,2.6,2027-05-01T05:00:00Z,2027-05-21T20:00:00Z"


def read(text: str) -> None:
    read_deployments(text, demo_codec().schema, "d.csv")


def test_the_demonstrations_deployments_are_in_the_open_sea_and_say_so() -> None:
    assert [each.station for each in demo_deployments()] == [1, 2, 3, 4]
    assert all("invented" in each.comments for each in demo_deployments())
    assert demo_project().invented


def test_an_id_that_is_not_given_tells_no_name() -> None:
    (home,) = read_deployments(f"{HEADER}\n{GOOD}", demo_codec().schema, "d.csv")
    assert home.id == "1-20270401"
    assert home.name == "north_hide"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "d.csv:1: the column 'station' is missing"),
        (f"{HEADER},station", "d.csv:1: the column 'station' is there twice"),
        (HEADER, "d.csv: no deployment is there"),
        (f"{HEADER},hight_m\n{GOOD},1", "did you mean 'height_m'"),
        (f"{HEADER}\n{GOOD},1", "d.csv:2: has 6 cells where the header has 5"),
        (f"{HEADER}\n{GOOD.replace('54.7', '154.7')}", "d.csv:2 latitude: '154.7' is not degrees"),
        (f"{HEADER}\n{GOOD.replace('2.6', 'nan')}", "d.csv:2 longitude: 'nan' is not degrees"),
        (f"{HEADER}\n{GOOD.replace('north_hide', 'south')}", "d.csv:2 station: 'south' is not"),
        (f"{HEADER}\n{GOOD.replace('20:00:00Z', '20:00:00')}", "d.csv:2 end"),
        (f"{HEADER}\n{GOOD.replace('2027-04-21', '2027-03-21')}", "d.csv:2 end: is not after"),
        (f"{HEADER}\n{GOOD}\n{GOOD}", "d.csv:3 id: '1-20270401' is there twice"),
        (f"{HEADER}\n{GOOD}\n{GOOD.replace('04-01', '04-02')}", "d.csv:3 start: lies within"),
        (
            f"{HEADER}\n{GOOD}\n{ELSEWHERE}",
            "d.csv:3 location: 'location-1' stands elsewhere",
        ),
        (f"{HEADER},feature\n{GOOD},river", "d.csv:2 feature: 'river' is not roadPaved"),
    ],
)
def test_a_wrong_deployment_is_refused_at_its_place(text: str, said: str) -> None:
    with pytest.raises(LogError) as caught:
        read(text)
    assert said in str(caught.value)


PROJECT = """
name = "n"
title = "t"
description = "d"
sampling_design = "targeted"
contributors = [{ title = "somebody", role = "contact" }]
"""


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x = ", "p.toml: is not TOML"),
        (PROJECT.replace('title = "t"', ""), "p.toml title: is missing"),
        (PROJECT.replace("targeted", "random"), "p.toml sampling_design: 'random' is no"),
        (PROJECT + 'data_license = "CC0-1.0"', "one licence of two"),
        (PROJECT + 'licence = "CC0-1.0"', "there is no key 'licence'"),
        (PROJECT.replace('"n"', '"My data"'), "p.toml name: 'My data' does not fit"),
        (PROJECT + 'language = "en"', "p.toml language: 'en' does not fit"),
        (PROJECT + "country_code = 3", "p.toml country_code: 3 does not fit"),
        (PROJECT.replace("contact", "boss"), "'boss' is no role"),
        (PROJECT.replace('title = "somebody", ', ""), "a contributor has no title"),
        (PROJECT.replace("[{", "{").replace("}]", "}"), "p.toml contributors: is no list"),
    ],
)
def test_a_wrong_project_is_refused_at_its_key(text: str, said: str) -> None:
    with pytest.raises(LogError) as caught:
        read_project(text, "p.toml")
    assert said in str(caught.value)


def test_a_good_project_is_read() -> None:
    assert read_project(PROJECT, "p.toml").contributors[0].role == "contact"


@given(st.text(alphabet=st.sampled_from('stationle,"\n\r\x00 0123456789.:TZ-'), max_size=200))
def test_nonsense_is_refused_and_nothing_else(nonsense: str) -> None:
    for text in (nonsense, f"{HEADER}\n{nonsense}", f"{HEADER}\n{GOOD}\n{nonsense}"):
        with suppress(LogError):
            read(text)
    for text in (nonsense, PROJECT + nonsense):
        with suppress(LogError):
            read_project(text, "p.toml")
