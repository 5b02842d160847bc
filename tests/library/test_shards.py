"""The same answer from shards on a local Dask cluster as from one index."""

from __future__ import annotations

import os

import numpy as np
from distributed import Client, LocalCluster

from disc.library.index.shards import find_in_shards, write_shards
from disc.library.index.tune_index import open_index, write_index
from disc.library.read.versions import group_versions
from disc.library.search.asked.query import make_query
from disc.library.search.find_tunes import find_tunes
from tests.bench.truth.practice import LEVELS, practice_disc


def test_shards_on_a_local_cluster_answer_like_one_index(small, tmp_path):
    tunes = [small.reference(i) for i in range(0, small.size, 4)]
    write_index(tmp_path / "whole", tunes, group_versions(tunes))
    whole = open_index(tmp_path / "whole")
    shards = write_shards(tmp_path / "shards", tunes, 120)
    assert len(shards) == 3
    rng = np.random.default_rng(6)
    local = {"n_workers": 3, "processes": True, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(**local) as cluster, Client(cluster) as client:
        client.wait_for_workers(3)
        assert len(set(client.run(os.getpid).values()) | {os.getpid()}) == 4  # worker processes, none of them this one
        for _ in range(3):
            disc = practice_disc(tunes[int(rng.integers(len(tunes)))], LEVELS["mild"], rng)
            query = make_query(disc.onset_s, disc.pitch.astype(float), None, "d")
            one, many = find_tunes(whole, query, 5)[0], find_in_shards(client, shards, query, 5)[0]
            assert (one.key, one.transposition, one.agree) == (many.key, many.transposition, many.agree)
            assert one.score == many.score
