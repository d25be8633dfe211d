"""Photos beside the logbook: small, without where they were taken, exported and imported too."""

import io
import zlib

import numpy as np
import pytest
from helpers.photos import Shot, encoded
from PIL import ExifTags, Image

from runpredict.errors import BadInput, TableWarning
from runpredict.logbook import photos
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files
from runpredict.logbook.photos import FOLDER, keep_photo, look_at, made_small, photo_file

LAYERS = "piece,cone,layer,glaze,coats,lower_edge_mm,upper_edge_mm,photo\ncup,6,1,Moth,1,8,90,{}\n"


@pytest.fixture(scope="module")
def picture():
    return Shot().taken()


def opened(content):
    return Image.open(io.BytesIO(content))


def test_where_it_was_taken_is_not_kept(picture):
    sent = encoded(picture, film_mm=26, located=True)
    assert opened(sent).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    kept = made_small(sent, "photo")
    notes = opened(kept).getexif()
    assert not notes.get_ifd(ExifTags.IFD.GPSInfo)
    assert notes.get_ifd(ExifTags.IFD.Exif) == {ExifTags.Base.FocalLengthIn35mmFilm: 26}
    assert set(notes) == {ExifTags.IFD.Exif}
    assert b"Invented Maker" not in kept


@pytest.mark.parametrize(("kind", "longest"), [("JPEG", 2000), ("PNG", 2000), ("WEBP", 2000)])
def test_a_large_photo_is_made_small(kind, longest):
    noise = np.random.default_rng(1).integers(0, 255, (300, 450, 3), dtype=np.uint8)
    large = np.repeat(np.repeat(noise, 8, axis=0), 8, axis=1)
    kept = opened(made_small(encoded(large, kind), "photo"))
    assert (kept.format, max(kept.size)) == ("JPEG", longest)
    assert abs(kept.width / kept.height - 1.5) < 0.01


def test_a_photo_taken_on_end_stands_upright(tmp_path):
    lying = Image.new("RGB", (60, 40), "white")
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6
    out = io.BytesIO()
    lying.save(out, "JPEG", exif=exif)
    kept = keep_photo(tmp_path, "cup", out.getvalue(), "photo")
    seen = look_at(photo_file(tmp_path, kept))
    assert (seen.width_px, seen.height_px, seen.film_mm) == (40, 60, None)


def bomb(width, height):
    """A small PNG that says it is of that size."""

    def part(kind, content):
        check = zlib.crc32(kind + content)
        return len(content).to_bytes(4) + kind + content + check.to_bytes(4)

    head = width.to_bytes(4) + height.to_bytes(4) + bytes([8, 2, 0, 0, 0])
    rows = zlib.compress(bytes(100_000))
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", rows) + part(b"IEND", b"")


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "cannot be read as a photo"),
        (b"GIF89a" + bytes(100), "cannot be read as a photo"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "cannot be read as a photo"),
        (bomb(9000, 9000), "more than 64 million pixels"),
        (bomb(60000, 60000), "more than 64 million pixels"),
        (bomb(400, 400), "cannot be read as a photo"),
        (bytes(photos.MOST_BYTES + 1), "larger than 16 MB"),
    ],
)
def test_what_is_no_photo_is_refused_in_a_sentence(tmp_path, content, told):
    with pytest.raises(BadInput, match=told):
        keep_photo(tmp_path, "cup", content, "The photo")
    assert not (tmp_path / FOLDER).exists()


def test_a_photo_cut_short_anywhere_is_refused_or_read(picture):
    whole = encoded(picture, film_mm=26)
    for end in range(0, len(whole), len(whole) // 40):
        with pytest.raises(BadInput, match="cannot be read as a photo"):
            made_small(whole[:end], "photo")


def test_files_are_for_nobody_else(tmp_path, picture):
    folder = tmp_path / "book"
    with Logbook.open(folder, create=True):
        pass
    kept = keep_photo(folder, "Cup / 1 é", encoded(picture), "photo")
    assert kept.startswith("cup-1-")
    for place in (folder, folder / FOLDER):
        assert place.stat().st_mode & 0o777 == 0o700
    for file in (folder / "logbook.sqlite3", folder / FOLDER / kept):
        assert file.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    "name", ["", "..", "../logbook.sqlite3", "a/b.jpg", "a\\b.jpg", ".hidden", "a\0.jpg", "x" * 200]
)
def test_a_crafted_name_leads_nowhere(tmp_path, name):
    (tmp_path / FOLDER).mkdir()
    assert photo_file(tmp_path, name) is None


def test_a_link_is_not_followed(tmp_path):
    (tmp_path / FOLDER).mkdir()
    (tmp_path / "secret").write_text("secret")
    (tmp_path / FOLDER / "cup.jpg").symlink_to(tmp_path / "secret")
    assert photo_file(tmp_path, "cup.jpg") is None


def tables_with_photo(folder, name, content, place=""):
    (folder / place).mkdir(parents=True, exist_ok=True)
    (folder / place / name).write_bytes(content)
    (folder / "glazes.csv").write_text("glaze,source\nMoth,jar\n")
    (folder / "layers.csv").write_text(LAYERS.format(name))
    return [folder / "glazes.csv", folder / "layers.csv"]


def test_a_photo_is_exported_and_imported_with_its_table(tmp_path, picture):
    sent = encoded(picture, located=True)
    import_files(tables_with_photo(tmp_path / "in", "IMG 1.jpg", sent), tmp_path / "one")
    kept = photo_file(tmp_path / "one", "IMG 1.jpg")
    assert not opened(kept.read_bytes()).getexif()
    ours = keep_photo(tmp_path / "one", "cup", sent, "photo")
    with Logbook.open(tmp_path / "one") as book:
        book.record("cup", [], told={"photo": ours})
        book.export(tmp_path / "out")
    assert [file.name for file in (tmp_path / "out" / FOLDER).iterdir()] == [ours]
    import_files([tmp_path / "out" / f"{k}.csv" for k in ("glazes", "layers")], tmp_path / "two")
    first, second = (photo_file(tmp_path / book, ours).read_bytes() for book in ("one", "two"))
    assert first == second
    with Logbook.open(tmp_path / "two") as book:
        assert book.layers()["photo"].tolist() == [ours]


def test_a_photo_that_cannot_be_read_does_not_hold_up_the_table(tmp_path):
    tables = tables_with_photo(tmp_path / "in", "cup.jpg", b"no photo", place=FOLDER)
    with pytest.warns(TableWarning, match="cup.jpg.*cannot be read as a photo"):
        import_files(tables, tmp_path / "book")
    with Logbook.open(tmp_path / "book") as book:
        assert book.layers()["photo"].tolist() == ["cup.jpg"]
