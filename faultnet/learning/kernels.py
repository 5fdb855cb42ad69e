"""The loops over past jobs, compiled with numba: the outlines of a shape, and what patterns add up to.

Imported only by `faultnet.learning`, late: importing numba takes a third of a second and compiling a few.
"""

import numpy as np
from numba import njit

NEGLIGIBLE = 1e-12
"""Outlines lighter than this, as a share of those of their pattern before them."""


@njit(cache=True, nogil=True)
def outlines(kinds, is_sure, row_of, changes, world, masses, faulty, never, least, lay, room):  # type: ignore[no-untyped-def]
    """Every way through a shape's acts that some class of worlds can take, those with the same rows as one outline.

    kinds: of each act the number of its sight in `row_of`, or ``-1 - n`` for change n of `changes` (component, then its
    matrix). world: standing and root state of each class; masses: its prior; faulty: its faulty components, as bits, of
    which `never` cannot be. Ways below `least` of the whole are left out. lay: strides and sizes of components. room:
    arrays for outlines, for members (outline, class), and a table of hashes.

    Returns the numbers of outlines and of members; -1 where there is no room.
    """
    rows, member_outline, member_class, table = room
    standings, roots = world
    strides, sizes = lay
    n_acts = len(kinds)
    at_act, at_x, at_weight = np.empty(256, np.int64), np.empty(256, np.int64), np.empty(256)
    path = np.empty(n_acts, np.int32)
    at_row = np.empty(256, np.int32)
    n_outlines, n_members = 0, 0
    table[:] = -1
    mask = len(table) - 1
    for c in range(len(roots)):
        if faulty[c] & never or not masses[c] > least:
            continue
        standing = standings[c]
        top = 1
        at_act[0], at_x[0], at_weight[0] = 0, roots[c], masses[c]
        while top > 0:
            top -= 1
            k, x, weight = at_act[top], at_x[top], at_weight[top]
            if k > 0:
                path[k - 1] = at_row[top]
            alive = True
            while k < n_acts and kinds[k] >= 0:
                row = row_of[kinds[k], standing, x]
                if is_sure[k] and row != 0:
                    alive = False
                    break
                path[k] = row
                k += 1
            if not alive:
                continue
            if k < n_acts:
                component, matrix = changes[0][-1 - kinds[k]], changes[1][-1 - kinds[k]]
                size, stride = sizes[component], strides[component]
                before = (x // stride) % size
                for after in range(size):
                    chance = matrix[before, after]
                    if chance > 0.0 and weight * chance > least:
                        at_act[top], at_x[top] = k + 1, x + (after - before) * stride
                        at_weight[top], at_row[top] = weight * chance, before * size + after
                        top += 1
                continue
            name = np.uint64(1469598103934665603)
            for i in range(n_acts):
                name = (name ^ np.uint64(path[i] + 1)) * np.uint64(1099511628211)
            slot = np.int64(name ^ (name >> np.uint64(29))) & mask
            while True:
                outline = table[slot]
                if outline < 0:
                    break
                same = True
                for i in range(n_acts):
                    if rows[outline, i] != path[i]:
                        same = False
                        break
                if same:
                    break
                slot = (slot + 1) & mask
            if outline < 0:
                if n_outlines >= len(rows):
                    return -1, 0
                outline = n_outlines
                table[slot] = outline
                rows[outline, :n_acts] = path
                n_outlines += 1
            if n_members >= len(member_class):
                return -1, 0
            member_outline[n_members], member_class[n_members] = outline, c
            n_members += 1
    return n_outlines, n_members


@njit(cache=True, nogil=True)
def weigh(masses, members, shapes, by_class):  # type: ignore[no-untyped-def]
    """The prior of every outline of every shape, from those of classes: added to `masses`.

    members: where those of each form begin, outline and class of each. shapes: the form of each, where its outlines
    begin, where the classes of its group begin.
    """
    starts, outline_of, class_of = members
    form_of, outline_start, class_start = shapes
    for shape in range(len(form_of)):
        form, first, base = form_of[shape], outline_start[shape], class_start[shape]
        for m in range(starts[form], starts[form + 1]):
            masses[first + outline_of[m]] += by_class[base + class_of[m]]


@njit(cache=True, nogil=True)
def weigh_back(ratios, members, shapes, by_class):  # type: ignore[no-untyped-def]
    """The other way round: what outlines have, over their prior, added to their classes."""
    starts, outline_of, class_of = members
    form_of, outline_start, class_start = shapes
    for shape in range(len(form_of)):
        form, first, base = form_of[shape], outline_start[shape], class_start[shape]
        for m in range(starts[form], starts[form + 1]):
            by_class[base + class_of[m]] += ratios[first + outline_of[m]]


@njit(cache=True, nogil=True)
def _weigh_outlines(p, program, shapes, masses, columns, weights):  # type: ignore[no-untyped-def]
    """The weight of every outline of a pattern, and of all together.

    program: start and acts of patterns, their shapes, where each act's column begins. shapes: where the outlines of
    each begin, where the rows of its form begin, the rows. Columns are at most 1, so an outline that is already
    negligible beside those before it is not followed: its weight is 0.
    """
    start, act_of, shape_of, column_start = program
    outline_start, row_start, rows = shapes
    shape = shape_of[p]
    begin = start[p]
    n_acts = start[p + 1] - begin
    first, at = outline_start[shape], row_start[shape]
    total = 0.0
    for o in range(outline_start[shape + 1] - first):
        weight = masses[first + o]
        least = NEGLIGIBLE * total
        k = 0
        while k < n_acts and weight > least:
            weight *= columns[column_start[act_of[begin + k]] + rows[at + k]]
            k += 1
        at += n_acts
        weights[o] = weight if k == n_acts else 0.0
        total += weights[o]
    return total


@njit(cache=True, nogil=True)
def add_up(first, last, program, shapes, masses, columns, jobs, log_evidence, counts, weights):  # type: ignore[no-untyped-def]
    """Log evidence of the patterns from `first` to `last`, and their expected counts added to `counts`.

    counts: of outlines, and of columns; outlines that hardly weigh anything add none.
    """
    start, act_of, shape_of, column_start = program
    outline_start, row_start, rows = shapes
    by_outline, by_column = counts
    for p in range(first, last):
        total = _weigh_outlines(p, program, shapes, masses, columns, weights)
        log_evidence[p] = np.log(total) if total > 0.0 else -np.inf
        if not (total > 0.0 and jobs[p] > 0.0):
            continue
        shape = shape_of[p]
        begin = start[p]
        n_acts = start[p + 1] - begin
        from_outline, at = outline_start[shape], row_start[shape]
        share, least = jobs[p] / total, NEGLIGIBLE * total
        for o in range(outline_start[shape + 1] - from_outline):
            if weights[o] > least:
                weight = weights[o] * share
                by_outline[from_outline + o] += weight
                for k in range(n_acts):
                    by_column[column_start[act_of[begin + k]] + rows[at + k]] += weight
            at += n_acts


@njit(cache=True, nogil=True)
def find_shares(first, last, program, shapes, masses, columns, shares, weights):  # type: ignore[no-untyped-def]
    """The largest share that any pattern from `first` to `last` gives each outline, kept in `shares` if larger."""
    outline_start = shapes[0]
    for p in range(first, last):
        total = _weigh_outlines(p, program, shapes, masses, columns, weights)
        if total > 0.0:
            from_outline = outline_start[program[2][p]]
            for o in range(outline_start[program[2][p] + 1] - from_outline):
                shares[from_outline + o] = max(shares[from_outline + o], weights[o] / total)


@njit(cache=True, nogil=True)
def spread(first, last, program, shapes, masses, columns, weights, buffer, out):  # type: ignore[no-untyped-def]
    """How each pattern from `first` to `last` spreads over its outlines, and over the rows of each act's column.

    out: shares of outlines; then for every pattern where its entries begin,
    and of each entry its place among the columns and its share. Returns the number of entries.
    """
    start, act_of, shape_of, column_start = program
    outline_start, row_start, rows = shapes
    shares, entry_start, entry_at, entry_share = out
    used, n_entries = 0, 0
    for p in range(first, last):
        total = _weigh_outlines(p, program, shapes, masses, columns, weights)
        shape = shape_of[p]
        begin = start[p]
        n_acts = start[p + 1] - begin
        n_outlines = outline_start[shape + 1] - outline_start[shape]
        entry_start[p - first] = n_entries
        for o in range(n_outlines):
            weights[o] = weights[o] / total if total > 0.0 else 0.0
            shares[used + o] = weights[o]
        used += n_outlines
        for k in range(n_acts):
            base = column_start[act_of[begin + k]]
            at = row_start[shape] + k
            for o in range(n_outlines):
                buffer[rows[at + o * n_acts]] += weights[o]
            for o in range(n_outlines):
                row = rows[at + o * n_acts]
                if buffer[row] > 0.0:
                    entry_at[n_entries], entry_share[n_entries] = base + row, buffer[row]
                    n_entries += 1
                    buffer[row] = 0.0
    entry_start[last - first] = n_entries
    return n_entries


@njit(cache=True, nogil=True)
def draw_ways(patterns, program, shapes, masses, columns, chance, by_column, weights):  # type: ignore[no-untyped-def]
    """One way that each job can have come about, drawn by its weight, added to the counts of columns.

    patterns: which, one for every job; chance: drawn evenly from 0 to 1 for each.
    """
    start, act_of, shape_of, column_start = program
    outline_start, row_start, rows = shapes
    for n in range(len(patterns)):
        p = patterns[n]
        total = _weigh_outlines(p, program, shapes, masses, columns, weights)
        if not total > 0.0:
            continue
        shape = shape_of[p]
        left, o = chance[n] * total, 0
        last = outline_start[shape + 1] - outline_start[shape] - 1
        while o < last and left >= weights[o]:
            left -= weights[o]
            o += 1
        begin = start[p]
        n_acts = start[p + 1] - begin
        at = row_start[shape] + o * n_acts
        for k in range(n_acts):
            by_column[column_start[act_of[begin + k]] + rows[at + k]] += 1.0
