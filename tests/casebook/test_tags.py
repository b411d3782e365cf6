"""Tags of sound and film: written and read back by independent programs (mutagen, `wave` of Python), or built by hand
from the published forms where no library writes them."""

from __future__ import annotations

import struct
import wave
import zlib
from collections.abc import Callable
from pathlib import Path

import mutagen
import pytest
from mutagen import apev2, id3, oggopus, oggvorbis
from mutagen import wave as tagged_wave

from wetmount.casebook.services.refusals import Refused
from wetmount.casebook.services.tags import blank_tags

pytestmark = pytest.mark.only_on("sqlite")  # no database has a part in it

SECRET = "SECRET 51.5000 -0.1200 Harbour Row"
FRAMES = bytes(range(1, 251)) * 40


def written(tmp_path: Path, suffix: str, data: bytes) -> Path:
    path = tmp_path / f"note.{suffix}"
    path.write_bytes(data)
    return path


def id3_frames(tags: id3.ID3Tags) -> None:
    tags.add(id3.TXXX(encoding=3, desc="location", text=[SECRET]))
    tags.add(id3.GEOB(encoding=3, mime="text/plain", filename="place", desc="", data=SECRET.encode()))
    tags.add(id3.APIC(encoding=3, mime="image/jpeg", type=3, desc="", data=SECRET.encode() * 3000))


# --- WAV --------------------------------------------------------------------------------------------------------------


def wav(tmp_path: Path) -> Path:
    path = tmp_path / "note.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes(FRAMES)
    return path


def chunk(kind: bytes, data: bytes) -> bytes:
    return kind + struct.pack("<I", len(data)) + data + bytes(len(data) % 2)


def frames(path: Path) -> bytes:
    with wave.open(str(path), "rb") as sound:
        return sound.readframes(sound.getnframes())


def with_chunks(path: Path, *chunks: bytes) -> None:
    """Chunks behind the sound, and one between the form and the sound, where recorders write `bext`."""
    data = path.read_bytes()
    at = data.index(b"data")
    data = data[:at] + chunks[0] + data[at:] + b"".join(chunks[1:])
    path.write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])


def test_a_recording_keeps_its_sound_and_nothing_else(tmp_path: Path) -> None:
    path = wav(tmp_path)
    secret = SECRET.encode()
    with_chunks(path, chunk(b"bext", secret * 20), chunk(b"LIST", b"INFO" + chunk(b"IARL", secret)),
                chunk(b"iXML", b"<GPS>" + secret))  # fmt: skip
    tagged = tagged_wave.WAVE(path)
    tagged.add_tags()
    id3_frames(tagged.tags)
    tagged.save()
    assert b"SECRET" in path.read_bytes()
    size = path.stat().st_size
    blank_tags(path, "wav")
    assert b"SECRET" not in path.read_bytes()
    assert frames(path) == FRAMES
    assert path.stat().st_size == size
    assert not tagged_wave.WAVE(path).tags
    again = path.read_bytes()
    blank_tags(path, "wav")
    assert path.read_bytes() == again


def test_what_hangs_behind_a_recording_is_cut_off(tmp_path: Path) -> None:
    path = wav(tmp_path)
    whole = path.read_bytes()
    path.write_bytes(whole + SECRET.encode())
    blank_tags(path, "wav")
    assert path.read_bytes() == whole


@pytest.mark.parametrize("said", [0, 0xFFFFFFFF])
def test_a_recorder_that_never_came_back_to_write_the_size(tmp_path: Path, said: int) -> None:
    path = wav(tmp_path)
    data = path.read_bytes()
    at = data.index(b"data") + 4
    data = data[:4] + struct.pack("<I", said) + data[8:at] + struct.pack("<I", said) + data[at + 4 :]
    path.write_bytes(data)
    blank_tags(path, "wav")
    assert path.read_bytes() == data


def test_a_chunk_that_reaches_out_of_the_file_is_refused(tmp_path: Path) -> None:
    path = wav(tmp_path)
    data = path.read_bytes() + b"LIST" + struct.pack("<I", 5000) + SECRET.encode()
    path.write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])
    with pytest.raises(Refused, match="cut short"):
        blank_tags(path, "wav")


# --- MP3 and AAC ------------------------------------------------------------------------------------------------------

MP3_FRAME = b"\xff\xfb\x90\x64" + bytes(413)  # MPEG-1 layer III, 128 kbit/s, 44.1 kHz: 417 bytes (ISO/IEC 11172-3)
ADTS_FRAME = b"\xff\xf1\x50\x80\x02\x1f\xfc" + bytes(9)  # 16 bytes (ISO/IEC 13818-7)


@pytest.mark.parametrize(("suffix", "frame"), [("mp3", MP3_FRAME), ("aac", ADTS_FRAME)])
@pytest.mark.parametrize("version", [3, 4])
def test_tags_before_and_behind_an_mp3(tmp_path: Path, suffix: str, frame: bytes, version: int) -> None:
    sound = frame * 40
    path = written(tmp_path, suffix, sound)
    tags = id3.ID3()
    id3_frames(tags)
    if version == 3:
        tags.update_to_v23()
    tags.save(path, v1=2, v2_version=version)
    ape = apev2.APEv2()
    ape["Location"] = SECRET
    ape.save(path)
    before = path.read_bytes()
    assert before.count(b"SECRET") > 2
    blank_tags(path, suffix)
    after = path.read_bytes()
    assert b"SECRET" not in after
    assert b"TAG" not in after
    assert after.endswith(sound)
    assert after.index(sound) == before.index(sound), "the sound stays where it was"
    left = id3.ID3(path)
    assert list(left) == []
    assert left.size == before.index(sound)
    if suffix == "mp3":
        assert mutagen.File(path).info.sample_rate == 44100


def test_lyrics_and_their_place_go(tmp_path: Path) -> None:
    lyrics = b"LYRICSBEGIN" + SECRET.encode()  # Lyrics3 v2: size of what stands before, in six digits, and the mark
    path = written(tmp_path, "mp3", MP3_FRAME + lyrics + f"{len(lyrics):06}".encode() + b"LYRICS200")
    blank_tags(path, "mp3")
    assert path.read_bytes() == MP3_FRAME


@pytest.mark.parametrize("data", [b"ID3\x04\0\0\x7f\x7f\x7f\x7f", MP3_FRAME + b"999999LYRICS200"])
def test_tags_that_claim_more_than_there_is_are_refused(tmp_path: Path, data: bytes) -> None:
    with pytest.raises(Refused, match="cut short"):
        blank_tags(written(tmp_path, "mp3", data), "mp3")


# --- OGG --------------------------------------------------------------------------------------------------------------


def page(serial: int, number: int, flags: int, position: int, packets: bytes, lacing: list[int]) -> bytes:
    """A page of RFC 3533 whose sum mutagen, reading, does not check and writing makes anew."""
    head = struct.pack("<4sBBqIII", b"OggS", 0, flags, position, serial, number, 0)
    return head + bytes([len(lacing), *lacing]) + packets


def ogg(tmp_path: Path, codec: str) -> Path:
    """A stream with its two or three heads and one packet of sound; tags are written by mutagen."""
    if codec == "opus":  # RFC 7845, section 5
        first = b"OpusHead" + struct.pack("<BBHIhB", 1, 1, 0, 48000, 0, 0)
        second = b"OpusTags" + struct.pack("<I", 4) + b"none" + struct.pack("<I", 0)
        heads = page(1, 1, 0, 0, second, [len(second)])
    else:  # Vorbis I, section 4.2
        first = b"\x01vorbis" + struct.pack("<IBIiiiBB", 0, 1, 44100, 0, 128000, 0, 0xB8, 1)
        second = b"\x03vorbis" + struct.pack("<I", 4) + b"none" + struct.pack("<I", 0) + b"\x01"
        third = b"\x05vorbisSETUP"
        heads = page(1, 1, 0, 0, second + third, [len(second), len(third)])
    path = tmp_path / "note.ogg"
    sound = b"SOUND" * 10
    path.write_bytes(page(1, 0, 2, 0, first, [len(first)]) + heads + page(1, 2, 4, 960, sound, [len(sound)]))
    kind: Callable[[Path], mutagen.FileType] = oggopus.OggOpus if codec == "opus" else oggvorbis.OggVorbis
    tagged = kind(path)
    tagged["location"] = SECRET
    tagged["metadata_block_picture"] = SECRET * 4000  # over several pages
    tagged.save()
    return path


def crc(data: bytes) -> int:
    """The sum of RFC 3533 by way of the reflected one of zlib is not to be had: long division, bit by bit."""
    rest = 0
    for byte in data:
        rest ^= byte << 24
        for _ in range(8):
            rest = (rest << 1 ^ 0x04C11DB7 if rest >> 31 else rest << 1) & 0xFFFFFFFF
    return rest


@pytest.mark.parametrize("codec", ["opus", "vorbis"])
def test_comments_of_an_ogg_are_blanks(tmp_path: Path, codec: str) -> None:
    path = ogg(tmp_path, codec)
    before = path.read_bytes()
    assert b"SECRET" in before
    assert before.count(b"OggS") > 3, "the comments reach over pages"
    blank_tags(path, "ogg")
    after = path.read_bytes()
    assert b"SECRET" not in after
    assert len(after) == len(before)
    assert after.endswith(b"SOUND" * 10)
    read = mutagen.File(path)
    assert not [value for _, value in read.tags if "SECRET" in value]
    place = 0
    while place < len(after):  # every page's sum is right
        count = after[place + 26]
        end = place + 27 + count + sum(after[place + 27 : place + 27 + count])
        said = struct.unpack_from("<I", after, place + 22)[0]
        wanted = crc(after[place : place + 22] + bytes(4) + after[place + 26 : end])
        if said != wanted:
            assert after[place:end] == before[place:end], "a page that was not touched"
            assert said == 0
        place = end


def test_an_ogg_of_another_kind_is_refused(tmp_path: Path) -> None:
    data = page(1, 0, 2, 0, b"Speex   ", [8]) + page(1, 1, 0, 0, SECRET.encode(), [len(SECRET)])
    with pytest.raises(Refused, match="Opus or Vorbis"):
        blank_tags(written(tmp_path, "ogg", data), "ogg")


# --- WEBM -------------------------------------------------------------------------------------------------------------


def element(id: str, content: bytes, width: int = 8) -> bytes:
    """An element of RFC 8794 with its size in `width` bytes."""
    return bytes.fromhex(id) + (len(content) | 1 << 7 * width).to_bytes(width, "big") + content


HEAD = element("1A45DFA3", element("4282", b"webm", 1))
SOUND = element("E7", b"\0", 1) + element("A3", b"\x81\0\0\x80PICTURES")


def webm_info(secret: bytes) -> bytes:
    text = element("4D80", secret, 1) + element("5741", secret, 2) + element("7BA9", secret) + element("4461", bytes(8))
    return element("1549A966", element("BF", zlib.crc32(text).to_bytes(4, "little"), 1) + text)


@pytest.mark.parametrize("streamed", [False, True])
@pytest.mark.parametrize("suffix", ["webm", "weba"])
def test_tags_of_a_webm_become_empty_space(tmp_path: Path, suffix: str, streamed: bool) -> None:
    secret = SECRET.encode()
    tags = element("1254C367", element("7373", secret))
    files = element("1941A469", secret)
    cluster = bytes.fromhex("1F43B67501FFFFFFFFFFFFFF") + SOUND if streamed else element("1F43B675", SOUND, 4)
    inside = webm_info(secret) + element("1654AE6B", b"TRACKS") + cluster + files + tags
    segment = bytes.fromhex("1853806701FFFFFFFFFFFFFF") + inside if streamed else element("18538067", inside)
    path = written(tmp_path, suffix, HEAD + segment)
    blank_tags(path, suffix)
    after = path.read_bytes()
    assert b"SECRET" not in after
    assert len(after) == len(HEAD + segment)
    assert after.index(b"TRACKS") == (HEAD + segment).index(b"TRACKS")
    assert cluster in after
    # Void (EC) of the same length stands where the tags stood: id, size of eight bytes, nothing.
    assert after.endswith(bytes.fromhex("EC") + (len(tags) - 9 | 1 << 56).to_bytes(8, "big") + bytes(len(tags) - 9))
    blank_tags(path, suffix)
    assert path.read_bytes() == after


def test_a_damaged_webm_is_refused(tmp_path: Path) -> None:
    for data in (b"\x1aE\xdf\xa3" + bytes(60), HEAD + element("18538067", element("1654AE6B", bytes(50)))[:-9]):
        with pytest.raises(Refused, match="damaged"):
            blank_tags(written(tmp_path, "webm", data), "webm")


def test_anything_at_all_is_blanked_or_refused(tmp_path: Path) -> None:
    """Cut and turned bytes of good files: no other error, and no endless loop."""
    good = {"wav": wav(tmp_path).read_bytes(), "ogg": ogg(tmp_path, "opus").read_bytes()[:3000],
            "mp3": b"ID3\x04\0\0\0\0\0\x0a" + bytes(10) + MP3_FRAME,
            "webm": HEAD + element("18538067", webm_info(b"x") + element("1F43B675", SOUND))}  # fmt: skip
    for suffix, data in good.items():
        for place in range(min(len(data), 120)):
            for wrong in (
                data[:place],
                data[:place] + b"\xff" + data[place + 1 :],
                data[:place] + b"\0" + data[place:],
            ):
                path = written(tmp_path, suffix, wrong)
                try:
                    blank_tags(path, suffix)
                except Refused:
                    continue
                assert path.stat().st_size <= len(wrong)
