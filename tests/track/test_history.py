"""Sources as a track's file names them."""

from trackkit.track.history import source_entry


def test_a_source_is_named_with_its_sha_256(tmp_path):
    # FIPS 180-2, appendix B.1: the digest of "abc".
    path = tmp_path / "abc.gpx"
    path.write_bytes(b"abc")

    assert source_entry(path, laps=2) == {
        "file": "abc.gpx",
        "sha256": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        "laps": 2,
    }
