/* ---- @name@: walked once in a room without end, and near its end again for each size tried */

/* What changes on the way; kept at a mark, to go on from there. */
struct @name@_now {
    uint32_t low, range;
@rows_member@    const struct @element@ *row;
    @word@ latest[@latest@ + 1]; /* the species seen last, each with codes of its last element */
    uint16_t shifts; /* octets moved out */
};

struct @name@_walk {
    uint16_t limit; /* octets that may be written */
    uint8_t last; /* the one before the mark, as it was then */
    struct @name@_now now;
    uint8_t *octets;
    const struct @tag@ *message;
    int32_t room; /* in octets; UNBOUNDED or IN_FIXED */
    struct @name@_now mark;
};

static APART void copy_@name@(struct @name@_now *to, const struct @name@_now *from)
{
    *to = *from;
}

/* Narrow the interval to the part that begins at `start`; octets that are done move out. */
static APART void narrow_@name@(struct @name@_walk *w, uint32_t start, uint32_t range)
{
    uint32_t low = w->now.low + start, at;

    if (low < start) { /* one more in the octets before */
        at = w->now.shifts;
        while (--at < w->limit && ++w->octets[at] == 0u) {
        }
    }
    for (; range >> 24 == 0u; range <<= 8) {
        at = w->now.shifts++;
        if (at < w->limit) {
            w->octets[at] = (uint8_t)(low >> 24);
        }
        low <<= 8;
    }
    w->now.low = low;
    w->now.range = range;
}

/* Send a number of those that are alike, each of them r wide. */
static void even_@name@(struct @name@_walk *w, uint32_t number, uint32_t r)
{
    narrow_@name@(w, r * number, r);
}

/* Send a symbol, whose shares of 2^16 begin so many octets into the tables and end with the next, or
 * at 2^16 where that is 0. */
static APART void symbol_@name@(struct @name@_walk *w, uint32_t at)
{
    const uint16_t *shares = (const void *)((const char *)@words@ + at);
    uint32_t start = shares[0], end = shares[1];
    const uint32_t r = w->now.range >> 16;

    start *= r;
    end *= r;
    const uint32_t range = (end > 0u ? end : w->now.range) - start;
    const uint32_t low = w->now.low + start;

    if (low < start || range >> 24 == 0u) {
        narrow_@name@(w, start, range);
        return;
    }
    w->now.low = low;
    w->now.range = range;
}

/* Send whether there is one more, by the row for the bits that are left of the room. */
static void ask_@name@(struct @name@_walk *w, bool more)
{
    uint32_t row = @full_row@u + 8u * ((uint32_t)w->room - w->now.shifts);

    for (uint32_t range = w->now.range; range >> 31 == 0u; range <<= 1) {
        row--;
    }
    symbol_@name@(w, 4u * row + 2u * more);
}

/* Go back to the mark, and undo a carry into the octet before it, if there was one. */
static void go_back_@name@(struct @name@_walk *w)
{
    copy_@name@(&w->now, &w->mark);
    w->octets[w->now.shifts - 1u] = w->last;
}

/* The bits of the shortest string in the interval; it moves out, and zeros after it. */
static uint32_t finish_@name@(struct @name@_walk *w)
{
    uint32_t rest = 0xffffffffu, last = 0, string = 8u * w->now.shifts;

    while (last - w->now.low >= w->now.range) {
        rest >>= 1;
        last = (w->now.low + rest) & ~rest;
        string++;
    }
    narrow_@name@(w, last - w->now.low, 1u);
    narrow_@name@(w, 0u, 1u);
    return string;
}

@start@

@say@

@result@ @encode@(
    const struct @tag@ *message, uint8_t *payload, size_t *bits)
{
    struct @name@_walk w;
    const struct @element@ *near = message->@list@; /* from there on the room may count */
    uint32_t string;

@tests@    if (message->@count@ > @back@u) {
        near += message->@count@ - @back@u;
    }
@limit@
    w.octets = payload;
    w.message = message;
    w.room = UNBOUNDED;
    w.mark.shifts = 0xffffu; /* none yet */
    for (;;) {
        if ((int32_t)w.mark.shifts + @mark_octets@ > w.room) {
            start_@name@(&w);
        } else {
            go_back_@name@(&w);
        }
        for (;;) {
            const struct @element@ *const row = w.now.row;

            if (row >= near) {
                const uint32_t i = (uint32_t)(row - w.message->@list@);
                const uint32_t count = w.message->@count@;

                if (w.room < 0) {
                    near = w.message->@list@ + w.message->@count@;
                    if (row < near && w.now.shifts - 1u < w.limit) {
                        w.last = w.octets[w.now.shifts - 1u];
                        if (w.last < 255u) { /* it takes up a carry */
                            copy_@name@(&w.mark, &w.now);
                        }
                    }
                } else if ((uint32_t)w.room - w.now.shifts <= @near_octets@u && @asked@) {
                    ask_@name@(&w, i < count);
                }
                if (i == count) {
                    break;
                }
            }
            w.now.row = row + 1;
            say_@name@(&w, row);
        }
        string = finish_@name@(&w);
        near = w.message->@list@;
        if (w.room == IN_FIXED) {
            w.room = w.limit;
            break;
        }
        if (w.room < 0) {
            w.room = (int32_t)((string + 7u) / 8u);
        } else if (string <= 8u * (uint32_t)w.room) {
            break;
        } else {
            w.room++;
        }
        if (w.room > w.limit) {
@too_long@            w.room = IN_FIXED;
        }
    }
    *bits = 8u * (uint32_t)w.room;
    return @ok@;
}
