"""Tags of sound and film: what recorders, phones and cameras write beside it, such as place, owner and device.

They are blanked in place or cut off the end: sound and film keep their bytes and play as before. The tags go whole,
since any of them may tell a place. Raises `Refused` for a file whose parts do not fit together.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from wetmount.casebook.services.refusals import Refused

DAMAGED = "The file is damaged or cut short. Send it again."
TOO_MANY = "The file is damaged: its parts do not fit together."
MOST_PARTS = 200_000
"""Parts of one file that are looked at; an hour of film has some thousands (judgement)."""


def blank_tags(path: Path, suffix: str) -> None:
    """Take the tags out of a file that was written as `suffix`."""
    with path.open("r+b") as file:
        length = file.seek(0, os.SEEK_END)
        _BLANK[suffix](file, length)


def _read(file: BinaryIO, place: int, count: int) -> bytes:
    file.seek(place)
    return file.read(count)


def _write(file: BinaryIO, place: int, data: bytes | bytearray) -> None:
    file.seek(place)
    file.write(data)


def _zero(file: BinaryIO, start: int, end: int) -> None:
    file.seek(start)
    for left in range(end - start, 0, -65536):
        file.write(bytes(min(left, 65536)))


# --- MP4, M4A and QuickTime (ISO/IEC 14496-12; QuickTime File Format) -------------------------------------------------

_HOLDS_BOXES = (b"moov", b"trak", b"mdia", b"moof", b"traf")
_TELLS = (b"udta", b"meta", b"uuid")
"""Boxes in which cameras write place, owner and device; they become free space."""


def _blank_mp4(file: BinaryIO, length: int) -> None:
    _blank_boxes(file, 0, length, 0)


def _blank_boxes(file: BinaryIO, start: int, end: int, depth: int) -> None:
    place, boxes = start, 0
    while place + 8 <= end:
        boxes += 1
        if boxes > 10_000 or depth > 8:
            raise Refused(TOO_MANY)
        head = _read(file, place, 16)
        size, kind, body = int.from_bytes(head[:4], "big"), head[4:8], place + 8
        if size == 1:
            size, body = int.from_bytes(head[8:16], "big"), place + 16
        elif size == 0:
            size = end - place
        if size < body - place or place + size > end:
            raise Refused(DAMAGED)
        if kind in _TELLS:
            _write(file, place + 4, b"free")
            _zero(file, body, place + size)
        elif kind in _HOLDS_BOXES:
            _blank_boxes(file, body, place + size, depth + 1)
        place += size


# --- WAV (IBM and Microsoft, Multimedia Programming Interface and Data Specifications 1.0; EBU Tech 3285 for bext) ----

_SOUND = (b"fmt ", b"data", b"fact", b"JUNK")
_UNKNOWN = (0, 0xFFFFFFFF)
"""Sizes that a recorder leaves which writes as it goes, and did not come back to fill them in."""


def _blank_wav(file: BinaryIO, length: int) -> None:
    """Chunks that are no sound (LIST, bext, iXML, id3, _PMX …) become JUNK; what hangs on behind is cut off."""
    said = int.from_bytes(_read(file, 4, 4), "little")
    if said not in _UNKNOWN and 8 + said < length:
        length = 8 + said
        file.truncate(length)
    place, parts = 12, 0
    while place + 8 <= length:
        parts += 1
        if parts > MOST_PARTS:
            raise Refused(TOO_MANY)
        head = _read(file, place, 8)
        kind, size = head[:4], int.from_bytes(head[4:], "little")
        end = place + 8 + size
        if kind == b"data" and (end > length or (size == 0 and said in _UNKNOWN)):
            return  # the recording was cut off; it reaches to the end
        if end > length:
            raise Refused(DAMAGED)
        if kind not in _SOUND:
            _write(file, place, b"JUNK")
            _zero(file, place + 8, end)
        place = end + size % 2
    _zero(file, place, length)


# --- MP3 and AAC: ID3 (id3.org, ID3v2.3 and 2.4; ID3v1), APEv2 and Lyrics3 at the end ---------------------------------


def _seven(data: bytes) -> int:
    """A number in seven bits a byte."""
    number = 0
    for byte in data:
        number = number << 7 | byte & 0x7F
    return number


def _blank_mp3(file: BinaryIO, length: int) -> None:
    place = 0
    while (head := _read(file, place, 10))[:3] == b"ID3" and len(head) == 10:
        footer = 10 if head[5] & 0x10 else 0
        end = place + 10 + _seven(head[6:]) + footer
        if end > length:
            raise Refused(DAMAGED)
        # A tag of padding alone, without flags, is one that holds nothing.
        size = end - place - 10
        _write(file, place + 5, bytes([0, *(size >> shift & 0x7F for shift in (21, 14, 7, 0))]))
        _zero(file, place + 10, end)
        place = end
    while size := _tail(file, length):
        if place + size > length:
            raise Refused(DAMAGED)
        length -= size
        file.truncate(length)


def _tail(file: BinaryIO, length: int) -> int:
    """The bytes of the tag that ends at `length`, 0 when none does."""

    def behind(count: int, size: int) -> bytes:
        return _read(file, length - count, size) if length >= count else b""

    if behind(128, 3) == b"TAG":
        return 128
    if behind(227, 4) == b"TAG+":
        return 227
    if behind(32, 8) == b"APETAGEX":
        said = behind(20, 12)
        return int.from_bytes(said[:4], "little") + (32 if said[11] & 0x80 else 0)
    if behind(9, 9) == b"LYRICS200" and (digits := behind(15, 6)).isdigit():
        return int(digits) + 15
    if behind(10, 3) == b"3DI":
        return _seven(behind(4, 4)) + 20
    return 0


# --- WEBM (RFC 8794, EBML; RFC 9559, Matroska) ------------------------------------------------------------------------

_SEGMENT, _INFO, _CLUSTER, _VOID = 0x18538067, 0x1549A966, 0x1F43B675, 0xEC
_TAGS, _ATTACHMENTS, _SUM = 0x1254C367, 0x1941A469, 0xBF
_TITLE, _DATE, _FILE_NAME, _MUXER, _WRITER = 0x7BA9, 0x4461, 0x7384, 0x4D80, 0x5741
_ENTERED = (_SEGMENT, _INFO, _CLUSTER)


def _blank_webm(file: BinaryIO, length: int) -> None:
    for id, start, body, end in _elements(file, 0, length):
        if id in (_MUXER, _WRITER):  # must be there: their letters go, their places stay
            _zero(file, body, end)
        elif id in (_TAGS, _ATTACHMENTS, _TITLE, _DATE, _FILE_NAME, _SUM):  # a sum would no longer be right
            width = min(end - start - 1, 8)  # of the size of the empty element that takes its place
            size = end - start - 1 - width
            _write(file, start, bytes([_VOID]) + (size | 1 << 7 * width).to_bytes(width, "big"))
            _zero(file, start + 1 + width, end)


def _elements(file: BinaryIO, place: int, length: int) -> Iterator[tuple[int, int, int, int]]:
    """Elements in order: id, start, start of the content, end. Those of a segment, of its head, and of a cluster whose
    size is not known follow it."""
    for _ in range(MOST_PARTS):
        if place >= length:
            return
        head = _read(file, place, 12)
        id_width = 9 - head[0].bit_length()
        size_width = 9 - head[id_width].bit_length() if id_width <= 4 and id_width < len(head) else 9
        if size_width > 8 or id_width + size_width > len(head):
            raise Refused(DAMAGED)
        id = int.from_bytes(head[:id_width], "big")
        body = place + id_width + size_width
        every_bit = (1 << 7 * size_width) - 1
        size = int.from_bytes(head[id_width : id_width + size_width], "big") & every_bit
        unknown = size == every_bit
        if unknown and id not in _ENTERED:
            raise Refused(DAMAGED)
        end = length if unknown else body + size
        if end > length and id != _SEGMENT:
            if _is_sound(id):
                return  # the recording was cut off within its last block
            raise Refused(DAMAGED)
        yield id, place, body, end
        place = body if id in (_SEGMENT, _INFO) or unknown else end
    raise Refused(TOO_MANY)


def _is_sound(id: int) -> bool:
    return id in (_CLUSTER, 0xA3, 0xA0)  # cluster, simple block, block group


# --- OGG (RFC 3533; comments of RFC 7845 and of the Vorbis I specification) -------------------------------------------

_COMMENTS = (b"OpusTags", b"\x03vorbis")


def _blank_ogg(file: BinaryIO, length: int) -> None:
    """The comments of the second packet become blanks of the same length; the sums of their pages are made anew."""
    packet, spots, pages = _second_packet(file, length)
    mark = next((one for one in _COMMENTS if packet.startswith(one)), None)
    if mark is None:
        raise Refused("The sound is in no form whose tags can be taken out. Send OGG with Opus or Vorbis, or M4A.")
    blank, place = bytearray(packet), len(mark)

    def number() -> int:
        nonlocal place
        place += 4
        if place > len(packet):
            raise Refused(DAMAGED)
        return int.from_bytes(packet[place - 4 : place], "little")

    vendor = number()
    place += vendor
    for _ in range(number()):
        size = number()
        if place + size > len(packet):
            raise Refused(DAMAGED)
        blank[place : place + size] = b" " * size
        place += size
    if mark == b"OpusTags":
        blank[place:] = bytes(len(blank) - place)  # padding may hold anything
    place = 0
    for start, size in spots:
        _write(file, start, blank[place : place + size])
        place += size
    for start, end in pages:
        page = bytearray(_read(file, start, end - start))
        page[22:26] = bytes(4)
        _write(file, start + 22, _ogg_sum(page).to_bytes(4, "little"))


def _second_packet(file: BinaryIO, length: int) -> tuple[bytes, list[tuple[int, int]], list[tuple[int, int]]]:
    """The second packet, the places in the file where its parts lie (start, length), and the pages they lie on."""
    place, packets = 0, 0
    whole = bytearray()
    spots: list[tuple[int, int]] = []
    pages: list[tuple[int, int]] = []
    while packets < 2:
        head = _read(file, place, 27)
        if len(head) < 27 or head[:4] != b"OggS" or len(pages) > MOST_PARTS:
            raise Refused(DAMAGED)
        lacing = _read(file, place + 27, head[26])
        body = place + 27 + len(lacing)
        end = body + sum(lacing)
        if len(lacing) < head[26] or end > length:
            raise Refused(DAMAGED)
        for size in lacing:
            if packets == 1:
                spots.append((body, size))
                whole += _read(file, body, size)
                if pages[-1:] != [(place, end)]:
                    pages.append((place, end))
            body += size
            packets += size < 255
            if packets == 2:
                break
        place = end
    return bytes(whole), spots, pages


def _ogg_sum(page: bytes | bytearray) -> int:
    """The checksum of a page: a CRC of 32 bits with the polynomial 0x04C11DB7, not reflected (RFC 3533, section 6)."""
    rest = 0
    for byte in page:
        rest = rest << 8 & 0xFFFFFFFF ^ _OGG_TABLE[rest >> 24 ^ byte]
    return rest


def _ogg_table() -> list[int]:
    table = []
    for byte in range(256):
        rest = byte << 24
        for _ in range(8):
            rest = (rest << 1 ^ 0x04C11DB7 if rest & 0x80000000 else rest << 1) & 0xFFFFFFFF
        table.append(rest)
    return table


_OGG_TABLE = _ogg_table()


_BLANK: dict[str, Callable[[BinaryIO, int], None]] = {
    "mp4": _blank_mp4, "mov": _blank_mp4, "m4a": _blank_mp4, "wav": _blank_wav, "mp3": _blank_mp3, "aac": _blank_mp3,
    "webm": _blank_webm, "weba": _blank_webm, "ogg": _blank_ogg,
}  # fmt: skip
