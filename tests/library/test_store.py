"""The library in the cache: built, stale, damaged, added to; broken files among good ones."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest

from disc.errors import BadInput
from disc.library.index import library_store as store
from disc.library.index import own_collections
from disc.library.index.manifest import library_folder
from disc.library.index.postings import PostingsWriter, open_postings
from disc.library.read import read_files as reading
from disc.library.read.read_files import Source, Wanted, corpus_sources, read_files
from disc.words import no_progress

GOOD = "X:7\nT:Invented air\nM:3/4\nL:1/8\nK:D\nD2 FA dA | B2 gf e2 | d2 AF D2 |\n"


@pytest.fixture
def copied(small, small_folder, tmp_path, monkeypatch):
    """A copy of the small library that may be spoilt."""
    folder = tmp_path / "library"
    shutil.copytree(small_folder, folder)
    monkeypatch.setenv("DISC_LIBRARY", str(folder))
    return folder


@pytest.mark.parametrize("damage", ["cut", "garbled", "manifest", "gone"])
def test_a_damaged_index_is_built_anew_and_said(copied, damage, monkeypatch):
    monkeypatch.setattr(reading, "CORPUS_COLLECTIONS", ("miscFolk",))
    # The manifest must be that of the fewer collections, so that damage alone is the reason.
    store.build_library(no_progress)
    index = next(copied.glob("index-*"))
    if damage == "cut":
        (index / "pitch.npy").write_bytes((index / "pitch.npy").read_bytes()[:-100])
    elif damage == "garbled":
        (index / "tunes.jsonl").write_text("{" + "x" * 50)
    elif damage == "manifest":
        (copied / "manifest.json").write_text("[]")
    else:
        shutil.rmtree(index)
    opened = store.open_library(no_progress)
    assert "built" in opened.remarks[0] and "damaged" in opened.remarks[0]
    assert opened.index.size == 185  # tunes with an X: field in miscFolk, counted with grep
    assert not store.open_library(no_progress).remarks


def test_keys_are_file_and_number(small):
    keys = {str(small.key(i)) for i in range(small.size)}
    assert "airdsAirs/book1.abc:1" in keys
    assert small.size == 1180 + 185 + 2  # X: fields in the three collections, counted with grep


def test_own_folder_with_broken_files(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "CORPUS_COLLECTIONS", ("nottingham-dataset",))
    own = tmp_path / "My tunes"
    (own / "deeper").mkdir(parents=True)
    (own / "deeper" / "air.abc").write_text(GOOD)
    (own / "empty.abc").write_text("")
    (own / "noise.mid").write_bytes(b"MThd\0\0")
    (own / "binary.abc").write_bytes(b"\0" * 40)
    own_collections.add_folder(own)
    opened = store.build_library(no_progress)
    assert "My tunes/deeper/air.abc:7" in {str(opened.index.key(i)) for i in range(opened.index.size)}
    assert {one.path.rsplit("/", 1)[1] for one in opened.broken} == {"empty.abc", "noise.mid", "binary.abc"}
    assert all(one.why for one in opened.broken)
    assert [(one.name, one.tunes) for one in own_collections.list_collections()] == [
        ("nottingham-dataset", 2),
        ("My tunes", 1),
    ]
    (own / "deeper" / "air.abc").write_text(GOOD + GOOD.replace("X:7", "X:8"))
    assert "files of My tunes have changed" in store.open_library(no_progress).remarks[0]
    own_collections.remove_collection("My tunes")
    assert [one.name for one in own_collections.list_collections()] == ["nottingham-dataset"]


def test_reads_midi_and_musicxml_of_own_folders(tmp_path):
    import music21

    stream = music21.converter.parse(GOOD, format="abc")
    stream.write("musicxml", fp=tmp_path / "air.musicxml")
    stream.write("midi", fp=tmp_path / "air.mid")
    source = Source("own", tmp_path)
    read = [one for batch in read_files([Wanted(state, source) for state in source.states()], 1) for one in batch]
    assert not any(one.why for one in read)
    assert [tune.pitch.tolist() for one in read for tune in one.tunes] == [
        [62, 66, 69, 74, 69, 71, 79, 78, 76, 74, 69, 66, 62]
    ] * 2


# Bach's chorale BWV 66.6 as music21 reads the same file: the soprano, every strike once.
def test_of_a_score_in_parts_the_first_is_read():
    import music21

    source = next(one for one in corpus_sources(scores=True) if one.name == "bach")
    path = source.folder / "bwv66.6.mxl"
    read = reading.read_file(
        path, next(one.key for one in source.states() if one.path == path), "bach", first_part_alone=True
    )[0]
    soprano = music21.converter.parse(path).parts[0].stripTies().flatten().notes
    assert read.pitch.tolist() == [note.pitch.midi for note in soprano]
    assert str(read.key) == "bach/bwv66.6.mxl:1"
    assert "bach" not in [one.name for one in corpus_sources()]


def test_collections_in_parts_come_only_when_asked_for(tmp_path):
    before = {one.name for one in own_collections.all_sources(tmp_path)}
    own_collections.want_scores(True, tmp_path)
    assert {one.name for one in own_collections.all_sources(tmp_path)} - before >= {"bach", "haydn", "mozart"}
    own_collections.want_scores(False, tmp_path)
    assert {one.name for one in own_collections.all_sources(tmp_path)} == before


def test_postings_that_spill_to_disk_are_those_kept_in_memory(tmp_path):
    rng = np.random.default_rng(2)
    blocks = [(rng.integers(0, 900, 4000).astype(np.uint32), rng.integers(0, 1 << 60, 4000).astype(np.uint64))]
    blocks += [(rng.integers(0, 1 << 30, 3000).astype(np.uint32), rng.integers(0, 1 << 60, 3000).astype(np.uint64))]
    for name, spill in (("memory", 1 << 30), ("disk", 1000)):
        writer = PostingsWriter(tmp_path, name, spill)
        for key, packed in blocks:
            writer.add(key, packed)
        writer.close()
    memory, disk = open_postings(tmp_path, "memory"), open_postings(tmp_path, "disk")
    assert all((getattr(memory, part) == getattr(disk, part)).all() for part in ("key", "start", "packed"))
    keys = np.concatenate([key for key, _ in blocks])
    assert memory.key.tolist() == np.unique(keys).tolist() and int(memory.start[-1]) == 7000
    first = memory.packed[memory.start[0] : memory.start[1]]
    assert first.tolist() == np.concatenate([packed for _, packed in blocks])[keys == keys.min()].tolist()
    assert not [path for path in tmp_path.iterdir() if path.is_dir()]  # no bucket is left


def test_bad_folders_are_refused(tmp_path, monkeypatch):
    with pytest.raises(BadInput, match="no folder here"):
        own_collections.add_folder(tmp_path / "none")
    with pytest.raises(BadInput, match="no MIDI, MusicXML, ABC or kern files"):
        own_collections.add_folder(tmp_path)
    with pytest.raises(BadInput, match="corpus stays"):
        own_collections.remove_collection("essenFolksong")
    with pytest.raises(BadInput, match="no added collection 'x'"):
        own_collections.remove_collection("x")
    taken = tmp_path / "airdsAirs"
    taken.mkdir()
    (taken / "a.abc").write_text(GOOD)
    with pytest.raises(BadInput, match="already"):
        own_collections.add_folder(taken)
    folder = library_folder()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "sources.json").write_text(json.dumps({"x": 1})[:-1])
    with pytest.raises(BadInput, match="list of added folders is damaged"):
        own_collections.own_sources()
