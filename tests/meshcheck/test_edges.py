"""Edges against counts and angles that follow from the solids themselves."""

import time

import numpy as np
import pytest
import trimesh

from meshcheck.edges import edge_ids, edge_table
from meshcheck.types import Mesh

from .parts import box, disc, drilled, mesh_of, moved, random_turn


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


def test_a_cube_has_eighteen_edges_and_turns_a_right_angle_at_twelve() -> None:
    # Euler: V - E + F = 2 with V = 8 and F = 12 triangles; six edges are diagonals of the flat sides
    edges = edge_table(mesh_of(box(20, 20, 20)))
    assert len(edges.turn_rad) == 18
    assert edges.closed
    turn = np.sort(np.degrees(edges.turn_rad))
    assert turn == pytest.approx([0] * 6 + [90] * 12, abs=1e-9)


@pytest.mark.parametrize("facets", [6, 8, 32, 128])
def test_a_drilled_disc_turns_outward_at_the_rim_and_inward_in_the_hole(facets: int) -> None:
    # a regular polygon of n sides turns by 360/n at every corner
    mesh = moved(mesh_of(drilled(disc(20, 5, facets), 5, facets)), random_turn(np.random.default_rng(facets)))
    edges = edge_table(mesh)
    turn = np.degrees(edges.turn_rad)
    for sign in (1, -1):
        assert np.sum(np.abs(turn - sign * 360 / facets) < 1e-3) == facets
    total = edges.area_mm2.sum()
    assert np.abs((edges.normals * edges.area_mm2[:, None]).sum(axis=0)).max() < 1e-4 * total  # closed: no net area


def test_every_side_of_a_face_knows_its_edge() -> None:
    mesh = mesh_of(drilled(disc(20, 5, 16), 5, 16))
    edges = edge_table(mesh)
    for side, edge in enumerate(edges.ids):
        face, k = divmod(side, 3)
        assert face in edges.faces[edge]
        assert {mesh.faces[face, k], mesh.faces[face, (k + 1) % 3]} == set(edges.ends[edge])


def test_open_crowded_and_flat_edges_have_no_turn() -> None:
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1.0]])
    fan = np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]], np.int32)  # three faces on edge 0-1
    edges = edge_table(Mesh(vertices, fan, np.zeros(3, np.int32)))
    assert sorted(edges.face_count) == [1] * 6 + [3]
    assert np.isnan(edges.turn_rad).all()
    assert not edges.closed


def test_no_faces_no_edges() -> None:
    assert edge_ids(np.zeros((0, 3), np.int32), 0)[1] == 0


def test_a_fan_about_one_vertex_stays_linear() -> None:
    # an insertion sort about the common vertex would need 10^10 steps here
    n = 200_000
    rim = np.arange(1, n + 1, dtype=np.int32)
    faces = np.column_stack([np.zeros(n, np.int32), rim, np.roll(rim, -1)])
    edge_ids(faces[:10], n + 1)
    begin = time.process_time()
    _, count = edge_ids(faces, n + 1)
    assert count == 2 * n
    assert time.process_time() - begin < 5
