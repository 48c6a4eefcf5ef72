"""The shared world can be built."""


def test_world_holds_two_schools(world):
    assert world.other_student.school != world.student.school
    assert len(world.people()) == 9
