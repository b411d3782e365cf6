"""Photographs, voice notes and clips: what is let in, what is taken out of it, where it lies.

A photograph is read by a closed list of decoders, turned as the camera held it, and written anew from its pixels alone:
place, time, camera and whatever else travelled with it stay out. Sound and film are kept as they are, without their
tags (`tags`).
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import io
import os
import re
import secrets
import struct
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from django.conf import settings
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from wetmount.casebook.models import Attachment, Case, Device, Examination
from wetmount.casebook.services import keeping
from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.tags import blank_tags

MAX_PHOTOGRAPH_BYTES = 60_000_000
MAX_PIXELS = 120_000_000
"""Of a photograph: more than a phone writes as one JPEG; it takes about 0.4 GB while it is read."""
MAX_SIDE = 30_000
MAX_SOUND_BYTES = 60_000_000
MAX_CLIP_BYTES = 250_000_000
Image.MAX_IMAGE_PIXELS = MAX_PIXELS  # Pillow itself refuses twice as many before anything is unpacked
THUMBNAIL = 480
"""Longest side of a thumbnail, pixels."""
FORMATS = ("JPEG", "PNG", "TIFF")
QUALITY = 92
SEND_JPEG = (
    "This is an HEIC picture, which cannot be read here. On an iPhone choose Settings, Camera, Formats, Most "
    "Compatible, and take it again; or share it by mail, which sends JPEG. On other phones save or send it as JPEG."
)
ACCEPTED = "Photographs in JPEG, PNG or TIFF, sound in M4A, MP3, OGG, WAV or WEBM, and clips in MP4, MOV or WEBM"


@dataclass(frozen=True, slots=True)
class Media:
    """What a file is, by its first bytes."""

    kind: str  # photograph, voice, clip
    media_type: str
    suffix: str


_HEIC_BRANDS = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"hevm", b"hevs", b"mif1", b"msf1", b"avif", b"avis"}


def media_of(head: bytes, declared: str = "", name: str = "") -> Media:
    """What the file is, by its first 64 bytes; `declared` type and name only tell sound from film in a container that
    holds either. Raises `Refused`."""
    sound = declared.startswith("audio/") or name.lower().endswith((".m4a", ".weba", ".oga", ".ogg"))
    if head.startswith(b"\xff\xd8\xff"):
        return Media("photograph", "image/jpeg", "jpg")
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return Media("photograph", "image/png", "png")
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return Media("photograph", "image/tiff", "png")
    if head[4:8] == b"ftyp":
        if head[8:12] in _HEIC_BRANDS:
            return Media("photograph", "image/heic", "jpg")
        if sound or head[8:12] in (b"M4A ", b"M4B "):
            return Media("voice", "audio/mp4", "m4a")
        if head[8:10] == b"qt":
            return Media("clip", "video/quicktime", "mov")
        return Media("clip", "video/mp4", "mp4")
    if head.startswith(b"\x1aE\xdf\xa3"):
        return Media("voice", "audio/webm", "weba") if sound else Media("clip", "video/webm", "webm")
    if head.startswith(b"OggS"):
        return Media("voice", "audio/ogg", "ogg")
    if head.startswith(b"RIFF") and head[8:12] == b"WAVE":
        return Media("voice", "audio/wav", "wav")
    if head.startswith(b"ID3") or (len(head) > 1 and head[0] == 0xFF and head[1] in (0xFB, 0xF3, 0xF2)):
        return Media("voice", "audio/mpeg", "mp3")
    if len(head) > 1 and head[0] == 0xFF and head[1] in (0xF1, 0xF9):
        return Media("voice", "audio/aac", "aac")
    what = "The file is empty." if not head else "This is no photograph, sound or clip that can be kept."
    raise Refused(f"{what} {ACCEPTED} are.")


def keep(
    device: Device | None,
    upload: BinaryIO,
    *,
    name: str = "",
    declared: str = "",
    size: int | None = None,
    case: Case | None = None,
    examination: Examination | None = None,
    caption: str = "",
) -> Attachment:
    """Take a file in and record it. Raises `Refused` with the reason; then nothing is left behind."""
    media = media_of(_head(upload), declared, name)
    limit = {"photograph": MAX_PHOTOGRAPH_BYTES, "voice": MAX_SOUND_BYTES, "clip": MAX_CLIP_BYTES}[media.kind]
    length = size if size is not None else _length(upload)
    if length > limit:
        raise Refused(
            f"The file has {length / 1e6:.0f} MB; at most {limit / 1e6:.0f} MB of it fit. Send a smaller one."
        )
    with _folder_entry() as stem:
        values = (
            _keep_photograph(upload, media, stem) if media.kind == "photograph" else _keep_other(upload, media, stem)
        )
        return keeping.attach(
            device,
            kind=media.kind,
            case=case,
            examination=examination,
            original_name=clean_name(name),
            caption=caption,
            **values,
        )


def keep_as_sent(device: Device | None, upload: BinaryIO, *, kind: str, **values: Any) -> Attachment:
    """Take in a file that a casebook gave out: byte for byte when it is as we would keep it, else as `keep` does.

    Raises `Refused` with the reason, also when it is not of this kind; then nothing is left behind.
    """
    name = values.get("name", "")
    media = media_of(_head(upload), "audio/" if kind == "voice" else "", name)
    if media.kind != kind:
        raise Refused(f"{name or 'A file'} is a {media.kind}, though it says it is a {kind}.")
    if kind != "photograph" or not _is_bare(upload, media):
        return keep(device, upload, declared="audio/" if kind == "voice" else "", **values)
    with _folder_entry() as stem:
        kept = _keep_photograph(upload, media, stem, as_sent=True)
        return keeping.attach(
            device,
            kind=kind,
            case=values.get("case"),
            examination=values.get("examination"),
            original_name=clean_name(name),
            caption=values.get("caption", ""),
            **kept,
        )


def _is_bare(upload: BinaryIO, media: Media) -> bool:
    """Whether a picture holds its pixels and nothing else, in one of the two forms in which pictures are kept."""
    if _length(upload) > MAX_PHOTOGRAPH_BYTES or media.suffix not in ("jpg", "png"):
        return False
    read_picture(upload, media)  # refuses what cannot be read
    upload.seek(0)
    with warnings.catch_warnings(action="ignore"), Image.open(upload, formats=["JPEG", "PNG"]) as opened:
        opened.load()  # only then is what stands behind the pixels known
        plain = opened.mode in ("L", "RGB", "RGBA")
        return plain and set(opened.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def clean_name(name: str) -> str:
    """The name a file came with, as text to read: no folders, no control characters, at most 120 characters."""
    last = re.split(r"[\\/]", name)[-1]
    return "".join(sign for sign in last if sign.isprintable()).strip(". ")[:120]


def path_of(name: str) -> Path:
    """Where a file lies. Raises `ValueError` for a name that leads out of the folder."""
    folder = Path(settings.FILES_FOLDER).resolve()
    path = (folder / name).resolve()
    if not path.is_relative_to(folder) or path == folder:
        raise ValueError(f"{name!r} is not in the folder of files")
    return path


# --- photographs ------------------------------------------------------------------------------------------------------


def _keep_photograph(upload: BinaryIO, media: Media, stem: str, *, as_sent: bool = False) -> dict[str, Any]:
    picture = read_picture(upload, media)
    as_png = media.suffix == "png"
    whole = b"".join(_chunks(upload)) if as_sent else _encoded(picture, as_png)
    small = picture.copy()
    small.thumbnail((THUMBNAIL, THUMBNAIL), Image.Resampling.LANCZOS)
    if small.mode == "RGBA":
        ground = Image.new("RGB", small.size, "white")
        ground.paste(small, mask=small.getchannel("A"))
        small = ground
    file, thumbnail = f"{stem}.{media.suffix}", f"{stem}-small.jpg"
    _write(file, [whole])
    _write(thumbnail, [_encoded(small, False)])
    return {
        "file": file,
        "thumbnail": thumbnail,
        "media_type": "image/png" if as_png else "image/jpeg",
        "size": len(whole),
        "sha256": hashlib.sha256(whole).hexdigest(),
        "width": picture.width,
        "height": picture.height,
    }


def read_picture(upload: BinaryIO, media: Media) -> Image.Image:
    """The pixels of a picture, upright, in sRGB, without anything else. Raises `Refused`."""
    formats = list(FORMATS)
    if media.media_type == "image/heic":
        if not _reads_heic():
            raise Refused(SEND_JPEG)
        formats = ["HEIF"]
    upload.seek(0)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd metadata; whatever it is, it goes
            with Image.open(upload, formats=formats) as opened:
                _check_size(opened)
                opened.load()
                return _plain(ImageOps.exif_transpose(opened))
    except Refused:
        raise
    except UnidentifiedImageError:
        raise Refused(f"The picture cannot be read: it is damaged, or no {_word(media)} inside.") from None
    except (Image.DecompressionBombError, MemoryError):
        raise Refused("The picture unpacks to more than can be held. Send a smaller one.") from None
    except (OSError, SyntaxError, ValueError, TypeError, KeyError, IndexError, struct.error, EOFError, OverflowError,
            ZeroDivisionError, AttributeError):  # fmt: skip
        # Decoders meet damaged files in all these ways.
        raise Refused("The picture is damaged or cut short. Send it again; if that fails, take it again.") from None


def _check_size(picture: Image.Image) -> None:
    width, height = picture.size
    if width < 1 or height < 1:
        raise Refused("The picture has no size.")
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE:
        raise Refused(
            f"The picture has {width} × {height} pixels; at most {MAX_PIXELS // 1_000_000} million of them and "
            f"{MAX_SIDE} a side can be kept. Send a smaller one."
        )


def _word(media: Media) -> str:
    return media.media_type.split("/")[1].upper()


def _plain(picture: Image.Image) -> Image.Image:
    """The picture in 8 bits, grey or sRGB, with nothing attached."""
    if picture.mode.startswith(("I", "F")):  # of a camera at the microscope: the range it used, over 8 bits
        wide = picture.convert("I").convert("F") if picture.mode != "F" else picture
        low, high = (float(one) for one in wide.getextrema())  # type: ignore[arg-type]
        scale = 255 / ((high - low) or 1)
        picture = wide.point(lambda value: value * scale + -low * scale).convert("L")
    profile = picture.info.get("icc_profile")
    has_alpha = picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info
    target = "RGBA" if has_alpha else "L" if picture.mode in ("L", "1") else "RGB"
    if profile and picture.mode in ("RGB", "RGBA", "CMYK"):
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            mode = "RGBA" if picture.mode == "RGBA" else "RGB"
            changed = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode=mode)
            picture = changed or picture
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            pass  # a profile that cannot be read colours nothing
    picture = picture.convert(target)
    clean = Image.new(picture.mode, picture.size)
    clean.paste(picture)
    return clean


def _encoded(picture: Image.Image, as_png: bool) -> bytes:
    out = io.BytesIO()
    if as_png:
        picture.save(out, "PNG", compress_level=6)
    else:
        picture.convert("L" if picture.mode == "L" else "RGB").save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def _reads_heic() -> bool:
    """Whether the extra that reads HEIC is installed."""
    try:
        importlib.import_module("pillow_heif").register_heif_opener()
    except ImportError:
        return False
    return True


# --- sound and film ---------------------------------------------------------------------------------------------------


def _keep_other(upload: BinaryIO, media: Media, stem: str) -> dict[str, Any]:
    file = f"{stem}.{media.suffix}"
    path = _write(file, _chunks(upload))
    blank_tags(path, media.suffix)
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as kept:
        for chunk in _chunks(kept):
            digest.update(chunk)
            size += len(chunk)
    return {"file": file, "media_type": media.media_type, "size": size, "sha256": digest.hexdigest()}


# --- writing ----------------------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _folder_entry() -> Iterator[str]:
    """A name for a new file; whatever was written under it goes again when it is not recorded."""
    stem = f"{secrets.token_hex(1)}/{secrets.token_hex(12)}"
    try:
        yield stem
    except BaseException:
        for left in path_of(stem).parent.glob(f"{Path(stem).name}*"):
            left.unlink(missing_ok=True)
        raise


def _write(name: str, chunks: Any) -> Path:
    """The chunks as a file that only the owner of the casebook can read, on the disk when this returns."""
    path = path_of(name)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        for chunk in chunks:
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    return path


def _chunks(file: BinaryIO) -> Iterator[bytes]:
    file.seek(0)
    while chunk := file.read(1 << 18):
        yield chunk


def _head(file: BinaryIO) -> bytes:
    file.seek(0)
    return file.read(64)


def _length(file: BinaryIO) -> int:
    return file.seek(0, os.SEEK_END)
