"""Photographs, voice notes and clips: what is let in, what is taken out, what is refused and why, how it is served."""

from __future__ import annotations

import io
import struct
import sys
import zlib
from pathlib import Path
from typing import Any

import pillow_heif
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from PIL import Image, TiffImagePlugin

from wetmount.casebook.models import Attachment, Case, Device, Examination
from wetmount.casebook.services import files as service
from wetmount.casebook.services.refusals import Refused

GPS_IFD, GPS_LATITUDE, MAKE, ORIENTATION = 0x8825, 2, 0x010F, 0x0112  # Exif 2.32


def picture(fmt: str = "JPEG", size: tuple[int, int] = (60, 40), mode: str = "RGB", **how: Any) -> bytes:
    """A picture, red at the left and blue at the right."""
    image = Image.new("RGB", size, (0, 0, 200))
    image.paste((200, 0, 0), (0, 0, size[0] // 2, size[1]))
    out = io.BytesIO()
    image.convert(mode).save(out, fmt, **how)
    return out.getvalue()


def with_place() -> bytes:
    """A JPEG as a phone makes it: held sideways, with the place and the maker written in, and a comment."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6  # the top of the picture is at its left side as stored: turn by 90° clockwise
    exif[MAKE] = "SECRETMAKER"
    exif.get_ifd(GPS_IFD)[GPS_LATITUDE] = (51.0, 30.0, 0.0)
    return picture(exif=exif, comment=b"SECRETCOMMENT at home", xmp=b"<x:xmpmeta>SECRETXMP</x:xmpmeta>")


def send(client: Client, case: Case, *sent: tuple[str, bytes], script: bool = False, **fields: Any) -> HttpResponse:
    uploads = [
        SimpleUploadedFile(name, data, fields.pop("declared", "application/octet-stream")) for name, data in sent
    ]
    headers = {"HTTP_X_WETMOUNT": "pieces"} if script else {}
    return client.post(f"/case/{case.number}/files/", {"files": uploads, **fields}, **headers)


def body(answer: HttpResponse) -> bytes:
    """All of a served file."""
    return b"".join(answer.streaming_content)


def lying(files: Path) -> list[Path]:
    return sorted(one for one in files.rglob("*") if one.is_file())


# --- photographs ------------------------------------------------------------------------------------------------------


def test_a_photograph_is_turned_and_keeps_nothing_but_its_pixels(
    browser: Client, scrape: Examination, files: Path
) -> None:
    case = scrape.look.case
    answer = send(browser, case, ("IMG_1.JPG", with_place()), kind="skin_scrape", examination=scrape.pk)
    assert answer.status_code == 302
    row = Attachment.objects.get()
    assert (row.kind, row.media_type, row.examination) == ("photograph", "image/jpeg", scrape)
    assert (row.width, row.height) == (40, 60), "upright"
    for path in lying(files):
        data = path.read_bytes()
        assert b"SECRET" not in data
        assert b"Exif" not in data
        with Image.open(path) as kept:
            assert not kept.getexif()
            assert not {"exif", "comment", "xmp", "icc_profile"} & set(kept.info)
            top, bottom = kept.convert("RGB").getpixel((5, 2)), kept.convert("RGB").getpixel((5, kept.height - 3))
            assert top[0] > 150 > top[2], "what was left is on top after turning clockwise"
            assert bottom[2] > 150 > bottom[0]
    assert len(lying(files)) == 2
    assert {oct(path.stat().st_mode & 0o777) for path in lying(files)} == {"0o600"}


@pytest.mark.parametrize(
    ("fmt", "mode", "media_type"),
    [("JPEG", "RGB", "image/jpeg"), ("JPEG", "L", "image/jpeg"), ("JPEG", "CMYK", "image/jpeg"),
     ("PNG", "RGBA", "image/png"), ("PNG", "P", "image/png"), ("PNG", "1", "image/png"), ("PNG", "I;16", "image/png"),
     ("TIFF", "RGB", "image/png"), ("TIFF", "L", "image/png"), ("TIFF", "CMYK", "image/png"),
     ("TIFF", "I;16", "image/png"), ("TIFF", "F", "image/png")],
)  # fmt: skip
def test_every_kind_of_picture_a_camera_makes(
    browser: Client, case: Case, fmt: str, mode: str, media_type: str
) -> None:
    if mode in ("I;16", "F"):
        image = Image.new("F", (60, 40), 100)
        image.paste(4000, (0, 0, 30, 40))
        out = io.BytesIO()
        (image if mode == "F" else image.convert("I").convert("I;16")).save(out, fmt)
        data = out.getvalue()
    else:
        data = picture(fmt, mode=mode)
    assert send(browser, case, ("a.bin", data)).status_code == 302
    row = Attachment.objects.get()
    assert (row.media_type, row.width, row.height) == (media_type, 60, 40)
    with Image.open(service.path_of(row.file)) as kept:
        left, right = kept.convert("RGB").getpixel((5, 20)), kept.convert("RGB").getpixel((55, 20))
        assert sum(left) > sum(right) + 50 if mode in ("I;16", "F") else left != right or mode == "1"
    with Image.open(service.path_of(row.thumbnail)) as small:
        assert small.format == "JPEG"


def test_a_picture_of_a_phone_in_heic_is_turned_and_bare(browser: Client, case: Case) -> None:
    """Written by libheif (pillow-heif), with the place and the maker in it, as a phone does."""
    pillow_heif.register_heif_opener()
    exif = Image.Exif()
    exif[MAKE] = "SECRETMAKER"
    exif.get_ifd(GPS_IFD)[GPS_LATITUDE] = (51.0, 30.0, 0.0)
    sent = picture("HEIF", size=(120, 80), exif=exif.tobytes(), xmp=b"<x:xmpmeta>SECRETXMP</x:xmpmeta>")
    assert sent[4:8] == b"ftyp"
    assert b"SECRET" in sent
    assert send(browser, case, ("IMG_0001.HEIC", sent), declared="image/heic").status_code == 302
    row = Attachment.objects.get()
    assert (row.media_type, row.width, row.height) == ("image/jpeg", 120, 80)
    kept = service.path_of(row.file).read_bytes()
    assert b"SECRET" not in kept
    with Image.open(io.BytesIO(kept)) as read:
        assert read.format == "JPEG"
        assert not read.getexif()
        left, right = read.convert("RGB").getpixel((20, 40)), read.convert("RGB").getpixel((100, 40))
    assert max(abs(one - other) for one, other in zip(left, (200, 0, 0), strict=True)) < 20  # type: ignore[arg-type]
    assert max(abs(one - other) for one, other in zip(right, (0, 0, 200), strict=True)) < 20  # type: ignore[arg-type]
    broken = send(browser, case, ("b.heic", sent[: len(sent) // 2]))
    assert broken.status_code == 422
    assert "damaged" in broken.content.decode()


def test_without_the_extra_a_picture_in_heic_is_sent_otherwise(
    browser: Client, case: Case, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pillow_heif.register_heif_opener()
    sent = picture("HEIF")
    monkeypatch.setitem(sys.modules, "pillow_heif", None)  # as if it were not installed
    answer = send(browser, case, ("IMG_0001.HEIC", sent), declared="image/heic")
    assert answer.status_code == 422
    assert "Most Compatible" in answer.content.decode()
    assert lying(files) == []


def test_a_thumbnail_is_small_and_a_picture_with_holes_is_shown_on_white(browser: Client, case: Case) -> None:
    image = Image.new("RGBA", (2000, 1000), (0, 0, 0, 0))
    out = io.BytesIO()
    image.save(out, "PNG")
    send(browser, case, ("hole.png", out.getvalue()))
    with Image.open(service.path_of(Attachment.objects.get().thumbnail)) as small:
        assert max(small.size) == service.THUMBNAIL
        assert min(small.getpixel((10, 10))) > 250


def test_the_first_page_of_a_stack_is_taken(browser: Client, case: Case) -> None:
    pages = [Image.new("RGB", (20, 20), colour) for colour in ("red", "blue", "green")]
    out = io.BytesIO()
    pages[0].save(out, "TIFF", save_all=True, append_images=pages[1:])
    assert send(browser, case, ("stack.tif", out.getvalue())).status_code == 302
    with Image.open(service.path_of(Attachment.objects.get().file)) as kept:
        assert kept.convert("RGB").getpixel((5, 5)) == (255, 0, 0)


# --- the hostile set --------------------------------------------------------------------------------------------------


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_bomb(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes that says it holds width × height pixels (PNG specification, section 11.2.2)."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(1 << 20), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def text_bomb() -> bytes:
    """A PNG with 300 MB of text packed into it."""
    plain = picture("PNG")
    packed = zlib.compressobj(9)
    text = b"".join([packed.compress(bytes(1 << 20)) for _ in range(300)] + [packed.flush()])
    return plain[:33] + chunk(b"zTXt", b"Comment\0\0" + text) + plain[33:]


def tiff_in_circles() -> bytes:
    """A TIFF whose directory says that the next one is itself, with a strip far beyond its end."""
    entry = [(256, 4, 1, 100), (257, 4, 1, 100), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
             (273, 4, 1, 4_000_000_000), (277, 3, 1, 1), (278, 4, 1, 100), (279, 4, 1, 4_000_000_000)]  # fmt: skip
    directory = struct.pack("<H", len(entry)) + b"".join(struct.pack("<HHII", *one) for one in entry)
    return b"II*\0" + struct.pack("<I", 8) + directory + struct.pack("<I", 8)


HOSTILE = {
    "empty": (b"", "empty"),
    "cut short": (picture()[:300], "damaged or cut short"),
    "png cut short": (picture("PNG", (300, 300))[:400], "damaged or cut short"),
    "jpeg of noise": (b"\xff\xd8\xff" + bytes(range(256)) * 20, "damaged"),
    "png of noise": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 20, "damaged"),
    "tiff of noise": (b"II*\0" + bytes(range(256)) * 20, "damaged"),
    "tiff in circles": (tiff_in_circles(), "damaged"),
    "many pixels": (png_bomb(40_000, 3_000), "pixels"),
    "more pixels than can be": (png_bomb(60_000, 60_000), "more than can be held"),
    "long and thin": (png_bomb(200_000, 10), "pixels"),
    "no size": (png_bomb(0, 10), "damaged"),
    "page named as picture": (b"<html><script>alert(1)</script>", "no photograph"),
    "svg": (b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>', "no photograph"),
    "gif": (picture("GIF"), "no photograph"),
    "bmp": (picture("BMP"), "no photograph"),
    "pdf": (b"%PDF-1.7\n" + bytes(100), "no photograph"),
    "zip": (b"PK\x03\x04" + bytes(100), "no photograph"),
    "program": (b"MZ" + bytes(100), "no photograph"),
    "postscript": (b"%!PS-Adobe-3.0 EPSF-3.0\n(/etc/passwd) run", "no photograph"),
    "heic": (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(40), "Most Compatible"),
    "mp4 of one endless box": (b"\0\0\0\x18ftypmp42" + bytes(12) + struct.pack(">I", 1 << 30) + b"moov", "damaged"),
    "mp4 of boxes in boxes": (
        b"\0\0\0\x18ftypmp42" + bytes(12) + b"".join(struct.pack(">I", 8 * (40 - k)) + b"moov" for k in range(40)),
        "damaged",
    ),
    "mp4 of nothing but boxes": (
        b"\0\0\0\x18ftypmp42" + bytes(12) + (struct.pack(">I", 8) + b"free") * 20_000,
        "damaged",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_and_broken_files_are_refused_with_the_reason(
    browser: Client, case: Case, files: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "_reads_heic", lambda: False)
    data, reason = HOSTILE[name]
    answer = send(browser, case, ("photo.jpg", data), declared="image/jpeg")
    assert answer.status_code == 422, answer.content[:400]
    text = answer.content.decode()
    assert reason in text, text[-1500:]
    assert not Attachment.objects.exists()
    assert lying(files) == [], "nothing is left behind"


def test_text_packed_into_a_picture_does_not_unpack(browser: Client, case: Case, files: Path) -> None:
    """Either it is refused, or the picture is kept without its text."""
    answer = send(browser, case, ("photo.png", text_bomb()))
    assert answer.status_code in (302, 422)
    assert sum(path.stat().st_size for path in lying(files)) < 100_000


def test_a_polyglot_is_kept_as_pixels_only(browser: Client, case: Case) -> None:
    data = picture() + b"<script>alert(1)</script><?php system('x'); ?>PK\x03\x04"
    assert send(browser, case, ("photo.php.jpg", data)).status_code == 302
    assert b"script" not in service.path_of(Attachment.objects.get().file).read_bytes()


@pytest.mark.parametrize("name", ["../../evil.jpg", "..\\..\\evil.jpg", "/etc/passwd", "a\0b.jpg", "x" * 400 + ".jpg",
                                  '"><script>alert(1)</script>.jpg', "con.jpg", "\u202egpj.exe"])  # fmt: skip
def test_a_name_never_decides_where_a_file_lies(browser: Client, case: Case, files: Path, name: str) -> None:
    assert send(browser, case, (name, picture())).status_code == 302
    assert {path.parent.parent for path in lying(files)} == {files}
    row = Attachment.objects.get()
    assert not {"/", "\\", "\0", "\u202e"} & set(row.original_name)
    text = browser.get(f"/case/{case.number}/file/{row.pk}/").content.decode()
    assert "<script>alert" not in text
    answer = browser.get(f"/file/{row.pk}/save/")
    body(answer)
    assert answer["Content-Disposition"] == f'attachment; filename="case-{case.number}-photograph-{row.pk}.jpg"'


def test_too_large_is_said_before_it_is_read(case: Case, device: Device, files: Path) -> None:
    class Huge(io.BytesIO):
        def read(self, size: int | None = -1) -> bytes:
            assert size == 64, "only the beginning was read"
            return super().read(size)

    for data, limit in ((picture(), service.MAX_PHOTOGRAPH_BYTES), (b"OggS" + bytes(100), service.MAX_SOUND_BYTES)):
        with pytest.raises(Refused, match="MB"):
            service.keep(device, Huge(data), name="a", size=limit + 1, case=case)
    assert lying(files) == []


def test_of_several_files_the_good_ones_are_kept(browser: Client, case: Case, files: Path) -> None:
    answer = send(browser, case, ("good.jpg", picture()), ("bad.jpg", picture()[:200]))
    assert answer.status_code == 422
    assert "bad.jpg: The picture is damaged" in answer.content.decode()
    assert Attachment.objects.count() == 1
    assert len(lying(files)) == 2
    script = send(browser, case, ("good.jpg", picture()), ("bad.jpg", b"nothing"), script=True)
    assert script.status_code == 200
    assert "bad.jpg" in script.content.decode()


def test_nothing_is_left_when_the_case_is_closed(browser: Client, device: Device, case: Case, files: Path) -> None:
    from wetmount.casebook.services import cases

    cases.close_case(device, case)
    assert send(browser, case, ("a.jpg", picture())).status_code in (409, 422)
    assert lying(files) == []


# --- sound and film ---------------------------------------------------------------------------------------------------


def box(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", 8 + len(data)) + kind + data


def film(*, brand: bytes = b"mp42") -> bytes:
    """The frame of an MP4 with the place in both ways cameras write it (ISO/IEC 14496-12; QuickTime File Format)."""
    place = box(b"\xa9xyz", b"\0\x12\x15\xc7+51.5000-000.1200/SECRET")
    track = box(b"trak", box(b"mdia", bytes(20)) + box(b"meta", b"SECRET keys"))
    head = box(b"ftyp", brand + bytes(4) + brand)
    return head + box(b"moov", box(b"mvhd", bytes(100)) + track + box(b"udta", place)) + box(b"mdat", b"PICTURES" * 20)


# The least that each form allows (`test_tags` has them with sound and tags in them).
WEBM = bytes.fromhex("1A45DFA3 87 4282 84 7765626D 18538067 80")
OGG = b"".join(
    struct.pack("<4sBBqIIIB", b"OggS", 0, 0, 0, 1, place, 0, 1) + bytes([len(data)]) + data
    for place, data in enumerate((b"OpusHead" + bytes(11), b"OpusTags" + bytes(8)))
)
WAV = b"RIFF\x24\0\0\0WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 8000, 8000, 1, 8) + b"data" + bytes(4)


@pytest.mark.parametrize(
    ("name", "declared", "data", "kind", "media_type"),
    [
        ("clip.mp4", "video/mp4", film(), "clip", "video/mp4"),
        ("clip.mov", "video/quicktime", film(brand=b"qt  "), "clip", "video/quicktime"),
        ("note.m4a", "audio/mp4", film(), "voice", "audio/mp4"),
        ("note.webm", "audio/webm", WEBM, "voice", "audio/webm"),
        ("clip.webm", "video/webm", WEBM, "clip", "video/webm"),
        ("note.ogg", "audio/ogg", OGG, "voice", "audio/ogg"),
        ("note.wav", "audio/wav", WAV, "voice", "audio/wav"),
        ("note.mp3", "audio/mpeg", b"ID3\x04" + bytes(60), "voice", "audio/mpeg"),
    ],
)
def test_voice_notes_and_clips(
    browser: Client, case: Case, name: str, declared: str, data: bytes, kind: str, media_type: str
) -> None:
    assert send(browser, case, (name, data), declared=declared).status_code == 302
    row = Attachment.objects.get()
    assert (row.kind, row.media_type, row.size) == (kind, media_type, len(data))
    kept = service.path_of(row.file).read_bytes()
    assert b"SECRET" not in kept, "the place is blanked"
    assert b"PICTURES" in kept or b"moov" not in kept, "and nothing else"
    answer = browser.get(f"/file/{row.pk}/whole/")
    assert answer["Content-Type"] == media_type
    assert body(answer) == kept


# --- serving ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def kept(browser: Client, case: Case) -> Attachment:
    send(browser, case, ("photo.jpg", picture()))
    return Attachment.objects.get()


def test_a_file_is_served_as_what_it_is_and_nothing_more(browser: Client, kept: Attachment) -> None:
    for which, disposition in (("whole", "inline"), ("small", "inline"), ("save", "attachment")):
        answer = browser.get(f"/file/{kept.pk}/{which}/")
        assert answer.status_code == 200
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Disposition"].startswith(disposition + "; ")
        assert "sandbox" in answer["Content-Security-Policy"]
        assert "default-src 'none'" in answer["Content-Security-Policy"]
        assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
        assert len(body(answer)) == int(answer["Content-Length"])
    assert browser.get(f"/file/{kept.pk}/other/").status_code == 404
    assert browser.get("/file/999999/whole/").status_code == 404
    assert browser.post(f"/file/{kept.pk}/whole/").status_code == 405


def test_a_type_that_is_not_on_the_list_is_only_saved(browser: Client, kept: Attachment) -> None:
    Attachment.objects.update(media_type="text/html")
    answer = browser.get(f"/file/{kept.pk}/whole/")
    body(answer)
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")


def test_a_file_of_a_record_that_leads_elsewhere_is_not_served(browser: Client, kept: Attachment) -> None:
    for name in ("../casebook.sqlite3", "/etc/passwd", "..", "", "nothing/here.jpg"):
        Attachment.objects.update(file=name)
        assert browser.get(f"/file/{kept.pk}/whole/").status_code == 404, name


def test_strangers_see_no_file(stranger: Client, kept: Attachment) -> None:
    assert stranger.get(f"/file/{kept.pk}/whole/").status_code == 403


@pytest.mark.parametrize(
    ("asked", "status", "part"),
    [("bytes=0-9", 206, slice(0, 10)), ("bytes=10-", 206, slice(10, None)), ("bytes=-5", 206, slice(-5, None)),
     ("bytes=0-99999999", 206, slice(0, None)), ("bytes=99999999-", 416, None), ("bytes=5-2", 416, None),
     ("bytes=-", 200, slice(0, None)), ("bytes=a-b", 200, slice(0, None)), ("bytes=0-1,5-6", 200, slice(0, None))],
)  # fmt: skip
def test_players_ask_for_parts(browser: Client, kept: Attachment, asked: str, status: int, part: slice | None) -> None:
    whole = service.path_of(kept.file).read_bytes()
    answer = browser.get(f"/file/{kept.pk}/whole/", HTTP_RANGE=asked)
    assert answer.status_code == status
    if part is not None:
        assert body(answer) == whole[part]


def test_caption_and_deletion_with_undo(browser: Client, case: Case, scrape: Examination, kept: Attachment) -> None:
    url = f"/case/{case.number}/file/{kept.pk}/"
    browser.post(url, {"caption": "Pale patch", "examination": scrape.pk, "seen": kept.version})
    kept.refresh_from_db()
    assert (kept.caption, kept.examination) == ("Pale patch", scrape)
    assert 'alt="Pale patch"' in browser.get(f"/case/{case.number}/").content.decode()
    browser.post(f"{url}remove/")
    assert browser.get(url).status_code == 404
    assert browser.get(f"/file/{kept.pk}/whole/").status_code == 404
    browser.post(f"/case/{case.number}/undo/")
    assert browser.get(url).status_code == 200
    assert service.path_of(kept.file).exists()


def test_a_picture_sent_twice_is_kept_once(browser: Client, case: Case, files: Path) -> None:
    id = "0b1f4d5e-0000-4000-8000-000000000001"
    for _ in range(2):
        assert send(browser, case, ("a.jpg", picture()), id=id).status_code == 302
    assert Attachment.objects.count() == 1


def test_tags_of_a_tiff_do_not_come_along(browser: Client, case: Case) -> None:
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[270] = "SECRET description"
    tags[315] = "SECRET artist"
    send(browser, case, ("a.tif", picture("TIFF", tiffinfo=tags)))
    assert b"SECRET" not in service.path_of(Attachment.objects.get().file).read_bytes()
