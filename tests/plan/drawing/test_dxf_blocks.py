"""Blocks: layers they inherit, what is missing, and files made to grow out of hand."""

import tracemalloc

import numpy as np
import pytest

from effort import at_most
from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.blocks import DEEPEST, MOST_INSERTED
from plan.drawing.dxf_files import ON, line, new, plain, read, saved, strokes, written


def block(name, content):
    return f"0\nBLOCK\n8\n0\n2\n{name}\n70\n0\n10\n0\n20\n0\n30\n0\n3\n{name}\n{content}0\nENDBLK\n8\n0\n"


def insert(name, layer="0", more="", handle=""):
    return f"0\nINSERT\n{f'5{chr(10)}{handle}{chr(10)}' if handle else ''}8\n{layer}\n2\n{name}\n10\n0\n20\n0\n{more}"


def bomb(levels, width, layer="Track", more=""):
    """Return a file in which each of some levels of blocks inserts the next several times."""
    blocks = block("B0", line(layer=layer))
    for level in range(1, levels):
        blocks += block(f"B{level}", insert(f"B{level - 1}", more=more) * width)
    return plain(insert(f"B{levels - 1}", handle="50") + line(), blocks=blocks)


def refused(path, **more):
    tracemalloc.start()
    with at_most(12_000_000), pytest.raises(DrawingError) as caught:
        read(path, **more)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 300e6
    return str(caught.value).removeprefix(f"{path}: ")


def test_layer_0_takes_the_insert_s_layer(tmp_path):
    document, space = new()
    inner = document.blocks.new("inner")
    inner.add_line((0, 0), (1, 0))
    inner.add_line((0, 0), (2, 0), dxfattribs={"layer": "Trees"})
    document.blocks.new("outer").add_blockref("inner", (0, 0))
    made = space.add_blockref("OUTER", (5, 0), dxfattribs=ON)
    space.add_blockref("outer", (0, 0), dxfattribs={"layer": "Trees"})
    space.add_blockref("outer", (0, 0))
    path = saved(document, tmp_path)
    drawing = read(path)
    (stroke,) = drawing.strokes
    assert (stroke.layer, stroke.handle, stroke.kind) == ("Track", f"{made.dxf.handle}/1", "LINE")
    np.testing.assert_allclose(stroke.points, [(5, 0), (6, 0)])
    assert [each.layer for each in read(path, layers=["0"]).strokes] == ["0"]
    assert len(read(path, layers=["trees"]).strokes) == 4


def test_arrays(tmp_path):
    document, space = new()
    document.blocks.new("one").add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_blockref("one", (10, 0), dxfattribs={"rotation": 90, "xscale": 2, "yscale": 2}).grid((2, 3), (5, 7))
    found = strokes(document, tmp_path)
    starts = {tuple(np.round(stroke.points[0], 9)) for stroke in found}
    assert starts == {(10 - 5 * row, 7 * column) for row in range(2) for column in range(3)}
    np.testing.assert_allclose(found[0].points, [(10, 0), (10, 2)], atol=1e-12)
    assert len({stroke.handle for stroke in found}) == 6


def test_a_missing_and_an_external_block_are_told(tmp_path):
    blocks = block("other", "").replace("70\n0\n", "70\n4\n1\nother.dxf\n")
    path = written(tmp_path, plain(line() + insert("lost") * 2 + insert("other"), blocks=blocks))
    drawing = read(path)
    assert {fault.code for fault in drawing.faults} == {"missing-block", "external-block"}
    assert 'block "lost" is inserted 2 times but is nowhere' in {fault.text for fault in drawing.faults}


@pytest.mark.parametrize("scale", ["41\n0\n", "42\n0\n", "41\nnan\n", "50\ninf\n"])
def test_an_insert_that_cannot_be_placed(tmp_path, scale):
    path = written(tmp_path, plain(insert("B0", more=scale, handle="50"), blocks=block("B0", line())))
    assert 'INSERT #50 on layer "0": ' in refused(path)


def test_blocks_that_insert_one_another(tmp_path):
    blocks = block("A", line() + insert("B")) + block("B", insert("C")) + block("C", insert("a"))
    message = refused(written(tmp_path, plain(insert("A"), blocks=blocks)))
    assert message == 'block "A": a block inserts itself, got A > B > C > A; write the blocks without that loop'
    blocks = block("A", line() + insert("A"))
    assert "got A > A" in refused(written(tmp_path, plain(insert("A"), blocks=blocks)))


def test_a_loop_through_the_model_space(tmp_path):
    document, space = new()
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_blockref("*Model_Space", (0, 0))
    assert "a block inserts itself" in refused(saved(document, tmp_path))


def test_a_loop_that_nothing_draws_is_harmless(tmp_path):
    blocks = block("A", insert("A"))
    assert len(read(written(tmp_path, plain(line(), blocks=blocks))).strokes) == 1


def test_diamonds_of_blocks(tmp_path):
    # 2 to the 15th is within what may be drawn; the audit of such a file takes minutes.
    drawing = read(written(tmp_path, bomb(14, 2)))
    assert len(drawing.strokes) == 2**13 + 1
    message = refused(written(tmp_path, bomb(16, 10)))
    assert "inserted blocks put more than 250,000 entities on these layers" in message
    assert message.startswith('block "B15"')


def test_blocks_too_deep(tmp_path):
    assert len(read(written(tmp_path, bomb(DEEPEST, 1))).strokes) == 2
    assert f"blocks stand more than {DEEPEST} deep in one another;" in refused(written(tmp_path, bomb(DEEPEST + 2, 1)))
    assert f"blocks stand more than {DEEPEST} deep in one another;" in refused(written(tmp_path, bomb(1_200, 1)))


def test_an_array_without_end(tmp_path):
    grid = "70\n32000\n71\n32000\n44\n1\n45\n1\n"
    path = written(tmp_path, plain(insert("B0", more=grid), blocks=block("B0", line())))
    assert "got 1,024,000,000 of it" in refused(path)
    path = written(tmp_path, bomb(12, 3, more=grid))
    assert "got more than can be counted; write" in refused(path)


def test_what_grows_on_other_layers_does_not_matter(tmp_path):
    path = written(tmp_path, bomb(16, 10, layer="Trees"))
    drawing = read(path)
    assert len(drawing.strokes) == 1


def test_a_full_block_inserted_often_for_one_line(tmp_path):
    # Each copy draws one line; the five thousand others on another layer must not be gone through each time.
    blocks = block("B0", line() + line(layer="Trees") * 5_000)
    path = written(tmp_path, plain(insert("B0", more="70\n50\n71\n50\n44\n1\n45\n1\n"), blocks=blocks))
    with at_most(8_000_000):
        assert len(read(path).strokes) == 2_500


def test_blocks_are_bounded_by_their_points_too(tmp_path):
    document, space = new("R2000")
    document.blocks.new("B").add_lwpolyline([(number, number % 2) for number in range(5_000)], dxfattribs=ON)
    space.add_blockref("B", (0, 0)).grid((50, 50), (1, 1))
    assert "put more than 250,000 entities" in refused(saved(document, tmp_path))
    assert MOST_INSERTED > 2_500
