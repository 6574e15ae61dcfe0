"""Parquet, GeoParquet, GeoPackage and FlatGeobuf, written by pandas, geopandas and GDAL."""

from __future__ import annotations

import io
import sys

import geopandas
import numpy as np
import pandas as pd
import pytest

from trackkit.errors import NoTimesError, RecordingError
from trackkit.recordings.drawn.read import read_drawing
from trackkit.recordings.read import read_recording

COUNT = 40
EAST = 161.0 + 1e-5 * np.arange(COUNT)
FRAME = pd.DataFrame(
    {
        "time": pd.Timestamp("2024-05-01T10:00:00Z")
        + pd.to_timedelta(100 * np.arange(COUNT), unit="ms"),
        "speed (km/h)": 36.0,
        "course": 90.0,
        "hacc": 0.5,
        "speed_accuracy_mps": 0.05,
        "driver": "invented",
    }
)
POINTS = geopandas.GeoDataFrame(
    FRAME, geometry=geopandas.points_from_xy(EAST, np.full(COUNT, 48.0), 5.0), crs="EPSG:4326"
)
NO_PARQUET = "parquet needs pyarrow"


def parquet(frame: pd.DataFrame) -> bytes:
    pytest.importorskip("pyarrow", reason=NO_PARQUET)
    out = io.BytesIO()
    frame.to_parquet(out)
    return out.getvalue()


@pytest.fixture
def stored(tmp_path):
    def write(frame, driver: str, **more) -> bytes:
        path = tmp_path / ("stored.gpkg" if driver == "GPKG" else "stored.fgb")
        frame.to_file(path, driver=driver, engine="pyogrio", **more)
        return path.read_bytes()

    return write


def assert_is_the_drive(recording) -> None:
    assert recording.start.isoformat() == "2024-05-01T10:00:00+00:00"
    assert recording.time_s == pytest.approx(0.1 * np.arange(COUNT), abs=1e-6)
    assert recording.longitude_deg == pytest.approx(EAST, abs=1e-9)
    assert recording.latitude_deg == pytest.approx([48.0] * COUNT, abs=1e-9)
    assert recording.speed_mps == pytest.approx([10.0] * COUNT)
    assert recording.course_deg == pytest.approx([90.0] * COUNT)
    assert recording.accuracy_m == pytest.approx([0.5] * COUNT)
    assert recording.speed_accuracy_mps == pytest.approx([0.05] * COUNT)


def test_a_parquet_table_is_read_by_its_column_names(file):
    table = FRAME.assign(lat=48.0, lon=EAST)
    assert_is_the_drive(read_recording(file(parquet(table))))


def test_words_in_parquet_that_are_no_utf_8_are_damage(file):
    words = [f"2024-05-01T10:00:{second:02d}Z" for second in range(COUNT)]
    data = FRAME.assign(time=words, lat=48.0, lon=EAST).to_parquet(compression=None)
    spoilt = data.replace(b"2024-05-01T10:00:05Z", b"2024-05-01T10\xff00:05Z")
    assert spoilt != data
    with pytest.raises(RecordingError, match="its Parquet is damaged"):
        read_recording(file(spoilt))


def test_columns_of_a_parquet_table_can_be_named(file):
    table = FRAME.rename(columns={"time": "when"}).assign(a=48.0, b=EAST)
    path = file(parquet(table))
    with pytest.raises(RecordingError, match="which columns are latitude and longitude"):
        read_recording(path)
    columns = {"time": "when", "latitude": "a", "longitude": "b"}
    assert_is_the_drive(read_recording(path, columns=columns))


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32657"])
@pytest.mark.parametrize("driver", ["parquet", "GPKG", "FlatGeobuf"])
def test_points_are_read_in_any_grid(file, stored, driver, crs):
    frame = POINTS.to_crs(crs)
    data = parquet(frame) if driver == "parquet" else stored(frame, driver)
    recording = read_recording(file(data))
    assert_is_the_drive(recording)
    assert recording.elevation_m == pytest.approx([5.0] * COUNT)


def test_columns_of_positions_beside_points_are_no_question(file, stored):
    frame = POINTS.assign(latitude=1.0, longitude=2.0)
    assert_is_the_drive(read_recording(file(stored(frame, "GPKG"))))


def test_features_kept_in_order_of_place_are_put_in_order_of_time(file, stored):
    """The index of a FlatGeobuf is a Hilbert curve's: a drive there and back is mixed up by it."""
    there = np.abs(np.arange(COUNT) - COUNT // 2)
    places = geopandas.points_from_xy(161.0 + 1e-4 * there, 48.0 + 1e-5 * np.arange(COUNT))
    frame = POINTS.set_geometry(places, crs="EPSG:4326")
    recording = read_recording(file(stored(frame, "FlatGeobuf")))
    assert recording.longitude_deg == pytest.approx(161.0 + 1e-4 * there, abs=1e-9)
    assert "put in order of time" in " ".join(recording.remarks)


def with_channels(frame):
    """Two columns of numbers, one of them of a slow sensor, one as text, and one of words."""
    slow = np.where(np.arange(COUNT) % 5 == 0, 80.0 + np.arange(COUNT), np.nan)
    return frame.assign(
        **{
            "engine speed [rpm]": 5000.0 + np.arange(COUNT),
            "water": slow,
            "gear": [str(1 + n % 5) for n in range(COUNT)],
            "note": "none",
        }
    )


@pytest.mark.parametrize("driver", ["parquet", "parquet table", "GPKG", "FlatGeobuf"])
def test_other_columns_of_numbers_are_channels(file, stored, driver):
    if driver == "parquet table":
        data = parquet(with_channels(FRAME.assign(lat=48.0, lon=EAST)))
    else:
        frame = with_channels(POINTS)
        data = parquet(frame) if driver == "parquet" else stored(frame, driver)
    recording = read_recording(file(data))
    assert_is_the_drive(recording)
    channels = {(channel.name, channel.unit): channel for channel in recording.channels}
    assert set(channels) == {("engine speed", "rpm"), ("water", None), ("gear", None)}
    engine = channels["engine speed", "rpm"]
    assert engine.time_s == pytest.approx(recording.time_s)
    assert engine.value == pytest.approx(5000.0 + np.arange(COUNT))
    water = channels["water", None]
    assert water.time_s == pytest.approx(recording.time_s[::5])
    assert water.value == pytest.approx(80.0 + np.arange(COUNT)[::5])
    assert channels["gear", None].value == pytest.approx(1 + np.arange(COUNT) % 5)


def test_channels_follow_features_that_are_put_in_order_of_time(file, stored):
    """One feature has no position; its value stays at its own time."""
    there = np.abs(np.arange(COUNT) - COUNT // 2)
    places = geopandas.points_from_xy(161.0 + 1e-4 * there, 48.0 + 1e-5 * np.arange(COUNT))
    frame = with_channels(POINTS.set_geometry(places, crs="EPSG:4326"))
    recording = read_recording(file(stored(frame, "FlatGeobuf")))
    assert "put in order of time" in " ".join(recording.remarks)
    engine = next(each for each in recording.channels if each.name == "engine speed")
    assert engine.time_s == pytest.approx(recording.time_s)
    assert engine.value == pytest.approx(5000.0 + np.arange(COUNT))

    shuffled = frame.sample(frac=1.0, random_state=3)
    shuffled.loc[COUNT // 2, "geometry"] = None
    recording = read_recording(file(stored(shuffled, "GPKG"), "shuffled.gpkg"))
    engine = next(each for each in recording.channels if each.name == "engine speed")
    assert len(recording) == COUNT - 1
    assert engine.value == pytest.approx(5000.0 + np.arange(COUNT))


def test_layers_without_times_are_passed_over(file, tmp_path):
    path = tmp_path / "two.gpkg"
    POINTS[["driver", "geometry"]].to_file(path, layer="marks", engine="pyogrio")
    POINTS.to_file(path, layer="drive", engine="pyogrio", mode="a")
    assert_is_the_drive(read_recording(path))
    POINTS.to_file(path, layer="again", engine="pyogrio", mode="a")
    with pytest.raises(RecordingError, match="2 layers of points with times"):
        read_recording(path)


@pytest.mark.parametrize("driver", ["parquet", "GPKG", "FlatGeobuf"])
def test_points_without_times_are_told(file, stored, driver):
    frame = POINTS[["driver", "geometry"]]
    data = parquet(frame) if driver == "parquet" else stored(frame, driver)
    with pytest.raises(NoTimesError):
        read_recording(file(data))


@pytest.mark.parametrize("driver", ["parquet", "GPKG", "FlatGeobuf"])
def test_a_file_cut_short_gets_one_sentence(file, stored, driver):
    data = parquet(POINTS) if driver == "parquet" else stored(POINTS, driver)
    with pytest.raises(RecordingError) as caught:
        read_recording(file(data[: len(data) // 3], "drive.bin"))
    assert "drive.bin" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_library_is_named_with_how_to_install_it(file, monkeypatch):
    path = file(parquet(POINTS))
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(RecordingError, match=r"needs pyarrow.*pip install 'trackkit\[parquet\]'"):
        read_recording(path)


def test_words_of_geoparquet_that_are_no_text_are_told(tmp_path):
    data = parquet(POINTS.assign(driver="invented é"))
    path = tmp_path / "drawing.parquet"
    path.write_bytes(data.replace("é".encode(), b"\xff\xfe"))

    with pytest.raises(RecordingError, match="its Parquet is damaged"):
        read_drawing(path)
