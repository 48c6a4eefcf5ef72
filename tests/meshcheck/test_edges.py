"""Edge numbers against a dictionary of vertex pairs, built the slow and obvious way."""

import numpy as np
import pytest
import trimesh

from meshcheck.edges import edge_ids


@pytest.mark.parametrize(
    "shape",
    [trimesh.creation.box(), trimesh.creation.icosphere(3), trimesh.creation.cone(5, 5, sections=400)],
    ids=["box", "sphere", "fan"],
)
def test_edges_are_the_pairs_of_vertices(shape: trimesh.Trimesh) -> None:
    faces = np.asarray(shape.faces, np.int32)
    ids, count = edge_ids(faces, len(shape.vertices))
    pairs = [tuple(sorted((int(face[k]), int(face[(k + 1) % 3])))) for face in faces for k in range(3)]
    numbering = {pair: number for number, pair in enumerate(sorted(set(pairs)))}
    assert ids.dtype == np.int32
    assert ids.tolist() == [numbering[pair] for pair in pairs]
    assert count == len(numbering) == len(shape.vertices) + len(faces) - 2  # Euler: closed, genus 0


def test_no_faces_have_no_edges() -> None:
    ids, count = edge_ids(np.zeros((0, 3), np.int32), 0)
    assert (ids.size, count) == (0, 0)
