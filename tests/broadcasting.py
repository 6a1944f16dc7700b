"""One way to check that a formula broadcasts: arrays must give what a loop of floats gives."""

import numpy as np


def assert_broadcasts(function, **arguments):
    """Compare a call with lists, taken against a column and a row, with single calls.

    The first list runs down, the second across, any further one down again;
    words, switches and single numbers stay as they are.
    """
    lists = [name for name, value in arguments.items() if isinstance(value, list)]
    assert lists, "nothing to broadcast"
    shaped, size = {}, [1, 1]
    for place, name in enumerate(lists):
        array = np.asarray(arguments[name])
        axis = place % 2
        size[axis] = len(array)
        shaped[name] = array[:, None] if axis == 0 else array[None, :]
    whole = function(**(arguments | shaped))
    parts = whole if isinstance(whole, tuple) else (whole,)
    for part in parts:
        assert np.shape(part) == tuple(size)
    for row in range(size[0]):
        for column in range(size[1]):
            single = {name: np.broadcast_to(array, size)[row, column].item() for name, array in shaped.items()}
            answer = function(**(arguments | single))
            for part, one in zip(parts, answer if isinstance(answer, tuple) else (answer,), strict=True):
                assert np.ndim(one) == 0
                np.testing.assert_allclose(part[row, column], one, rtol=1e-13, atol=1e-13)
