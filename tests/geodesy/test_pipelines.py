"""PROJ pipelines as text."""

import pytest

from pipeline.geodesy import pipelines

OSGB = (
    "proj=pipeline step inv proj=cart ellps=airy step proj=push v_1 v_2 step proj=hgridshift grids=a.tif omit_inv "
    "step inv proj=vgridshift grids=b.tif multiplier=1 step inv proj=hgridshift grids=a.tif omit_fwd "
    "step proj=pop v_1 v_2"
)
TURNED = (
    "proj=cart ellps=GRS80",
    "inv proj=helmert x=565.7 y=50.4 z=465.3 convention=coordinate_frame",
    "inv proj=cart ellps=bessel",
)


def test_steps_and_back() -> None:
    """A pipeline comes apart into its steps and together again; plus signs go; a single operation is one step."""
    assert pipelines.join(pipelines.steps(OSGB)) == OSGB
    assert pipelines.steps("+proj=pipeline +step +proj=cart +ellps=GRS80") == ("proj=cart ellps=GRS80",)
    assert pipelines.steps("proj=helmert x=1") == ("proj=helmert x=1",)
    assert pipelines.steps("proj=noop") == ()
    assert pipelines.join(()) == "proj=pipeline step proj=noop"


def test_parameters_for_all_steps_are_not_guessed() -> None:
    """What stands before the first step would be lost by taking steps apart: it is refused."""
    with pytest.raises(ValueError, match="not expected"):
        pipelines.steps("proj=pipeline ellps=GRS80 step proj=cart")


def test_grids_are_found_and_replaced() -> None:
    """Each grid once, in order; paths with spaces and quotes are quoted and read back."""
    assert pipelines.grid_names(OSGB) == ["a.tif", "b.tif"]
    moved = pipelines.with_grids(OSGB, lambda name: f'/a folder/"{name}"')
    assert pipelines.grid_names(moved) == ['/a folder/"a.tif"', '/a folder/"b.tif"']
    assert len(pipelines.steps(moved)) == len(pipelines.steps(OSGB))
    assert pipelines.with_grids(moved, lambda name: name.split('"')[1]) == OSGB
    assert pipelines.grid_names("proj=hgridshift grids=@x.gsb,null") == ["@x.gsb", "null"]


def test_what_happens_to_a_height() -> None:
    """A grid shift leaves ellipsoidal heights, a Helmert turns them, unless it stands between push and pop v_3."""
    assert not pipelines.turns_height(pipelines.steps(OSGB))
    assert pipelines.turns_height(TURNED)
    assert not pipelines.turns_height(("proj=push v_3", *TURNED, "proj=pop v_3"))
    assert pipelines.turns_height((TURNED[0], TURNED[2]))  # another ellipsoid under the same X, Y, Z
    assert pipelines.has_height_step(pipelines.steps(OSGB))
    assert not pipelines.has_height_step(TURNED)


def test_time() -> None:
    """A reference epoch or a deformation model needs times; one with a fixed dt does not."""
    assert pipelines.depends_on_time(("proj=helmert drx=0.001 t_epoch=2020 convention=coordinate_frame",))
    assert pipelines.depends_on_time(("proj=defmodel model=x.json",))
    assert not pipelines.depends_on_time(("proj=deformation dt=3 grids=x.tif",))
    assert not pipelines.depends_on_time(TURNED)
