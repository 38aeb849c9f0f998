/*@ APART */
/* A function that is compiled apart has all registers to itself, and its caller a smaller frame. */
#ifdef __GNUC__
#define APART __attribute__((noinline))
#else
#define APART
#endif

/*@ FIRST_RANGE */
/* ---- The range coder (spec/modelled-coding.md) */

#define FIRST_RANGE 0xfc000000u
#define PLAIN_BITS 6u

/*@ UNBOUNDED */
/* In place of a room: one in which nobody asks whether there is one more; and fixed coding. */
#define UNBOUNDED (-1)
#define IN_FIXED (-2)

/*@ LAST_ROW */
#define LAST_ROW @last_row@u /* of the rows by room */

/*@ SURE_BITS */
#define SURE_BITS @sure@u /* with so much room left there is surely one more element */

/*@ ENDLESS_BITS */
#define ENDLESS_BITS SIZE_MAX /* in a room of so many bits nobody asks */

/*@ struct coder */
/* The interval, and the octets before it, which are sure but for a carry; `most` of them are kept. */
struct coder {
    uint32_t low, range;
    size_t shifts, most;
    uint8_t *octets;
};

/*@ struct mark */
/* Where a coder was, and the octet that it had moved out last. */
struct mark {
    uint32_t low, range;
    size_t shifts;
    uint8_t last;
};

/*@ struct source */
/* The number that lies in the interval, and where more of it comes from. */
struct source {
    uint32_t value, range;
    const uint8_t *octets;
    size_t length, at, left; /* octets in all, the next bit, octets that may still be asked for */
    enum @call@_result fault;
};

/*@ quotient( */
/* number / by, bit by bit: many a small core cannot divide, and a library's way is far longer. */
static APART uint32_t quotient(uint32_t number, uint32_t by)
{
    uint32_t bit = 1, found = 0;

    while (by <= number >> 1) {
        by <<= 1;
        bit <<= 1;
    }
    do {
        if (number >= by) {
            number -= by;
            found |= bit;
        }
        by >>= 1;
        bit >>= 1;
    } while (bit > 0u);
    return found;
}

/*@ remainder_of( */
static uint32_t remainder_of(uint32_t number, uint32_t by)
{
    return number - by * quotient(number, by);
}

/*@ begin( */
static void begin(struct coder *to)
{
    to->low = 0;
    to->range = FIRST_RANGE;
    to->shifts = 0;
}

/*@ carry( */
/* One more in the octets before the interval. Past what is kept, nothing will be sent. */
static void carry(struct coder *to)
{
    size_t at = to->shifts;

    if (at <= to->most) {
        while (at > 0u && ++to->octets[--at] == 0u) {
        }
    }
}

/*@ widen( */
/* Move octets out until the interval is wide enough again. */
static void widen(struct coder *to)
{
    do {
        if (to->shifts < to->most) {
            to->octets[to->shifts] = (uint8_t)(to->low >> 24);
        }
        to->shifts++;
        to->low <<= 8;
        to->range <<= 8;
    } while (to->range >> 24 == 0u);
}

/*@ narrow( */
/* Narrow the interval to the part that begins at `start`. */
static void narrow(struct coder *to, uint32_t start, uint32_t range)
{
    to->range = range;
    to->low += start;
    if (to->low < start) {
        carry(to);
    }
    if (to->range >> 24 == 0u) {
        widen(to);
    }
}

/*@ symbol( */
/* Send a symbol, whose shares of 2^16 begin at at[0] and end at at[1], or at 2^16 where that is 0.
 * It narrows in place, for nothing is called as often. */
static void symbol(struct coder *to, const uint16_t *at)
{
    const uint32_t r = to->range >> 16, start = r * at[0], end = at[1];

    to->range = (end > 0u ? r * end : to->range) - start;
    to->low += start;
    if (to->low < start) {
        carry(to);
    }
    if (to->range >> 24 == 0u) {
        widen(to);
    }
}

/*@ yes( */
/* Send the last of two symbols, where the first has a share of `no`. */
static void yes(struct coder *to, uint32_t no)
{
    const uint32_t start = (to->range >> 16) * no;

    narrow(to, start, to->range - start);
}

/*@ no( */
/* Send the first of two symbols, which leaves the interval where it starts. */
static void no(struct coder *to, uint32_t share)
{
    to->range = (to->range >> 16) * share;
    if (to->range >> 24 == 0u) {
        widen(to);
    }
}

/*@ put( */
/* Send a number of so many bits, 16 at most, all alike. */
static void put(struct coder *to, uint32_t code, unsigned width)
{
    const uint32_t r = to->range >> width;

    narrow(to, r * code, r);
}

/*@ put_long( */
/* The same, of any width. */
static void put_long(struct coder *to, @code@ code, unsigned width)
{
    for (; width > 16u; code &= ((@code@)1 << width) - 1u) {
        width -= 16u;
        put(to, (uint32_t)(code >> width), 16u);
    }
    put(to, (uint32_t)code, width);
}

/*@ alike( */
/* Send one of `values` numbers, 2^16 at most, all alike. */
static void alike(struct coder *to, uint32_t values, uint32_t code)
{
    const uint32_t r = quotient(to->range, values);

    narrow(to, r * code, r);
}

/*@ alike_long( */
/* Send a number 0 to last, all alike, in digits of 16 bits at most. */
static void alike_long(struct coder *to, @code@ last, @code@ code)
{
    unsigned width = 0;

    while (last >> width > 0xffffu) {
        width++;
    }
    alike(to, (uint32_t)(last >> width) + 1u, (uint32_t)(code >> width));
    if (width > 0u) {
        put_long(to, code & (((@code@)1 << width) - 1u), width);
    }
}

/*@ class_of( */
/* The class of a code that is not all alone in it: from 8 on there are two to an octave. */
static unsigned class_of(@code@ code)
{
    unsigned octave = 0;

    if (code < 8u) {
        return (unsigned)code;
    }
    while (code >> octave > 15u) {
        octave++;
    }
    return 2u * octave + (unsigned)(code >> (octave + 2u)) + 6u;
}

/*@ by_class( */
/* Send a code as its class, and alike in it. */
static void by_class(struct coder *to, const uint16_t *row, @code@ code)
{
    const unsigned found = class_of(code);

    symbol(to, row + found);
    if (found >= 8u) {
        const unsigned width = (found - 8u) / 2u + 2u;

        @put@
    }
}

/*@ by_cut_class( */
/* The same where the last class is cut short. */
static void by_cut_class(struct coder *to, const uint16_t *row, @code@ code, @code@ last)
{
    const unsigned found = class_of(code), width = (found - 8u) / 2u + 2u;

    if (found < 8u || (code | (((@code@)1 << width) - 1u)) <= last) {
        by_class(to, row, code);
    } else {
        const @code@ first = code >> width << width;

        symbol(to, row + found);
        @alike@
    }
}

/*@ fold( */
/* How far a code is from a centre: 0, 1 more, 1 less, 2 more … and on along the longer side. */
static @code@ fold(@code@ code, @code@ centre, @code@ last)
{
    const @code@ both = centre < last - centre ? centre : last - centre;
    const @code@ away = code > centre ? code - centre : centre - code;

    if (away > both) {
        return both + away;
    }
    return code > centre ? 2u * away - 1u : 2u * away;
}

/*@ spare_bits( */
/* How many bits of a room are left, up to SURE_BITS. */
static size_t spare_bits(uint32_t range, size_t shifts, size_t room)
{
    size_t spent = 8u * shifts;

    if (room >= spent + SURE_BITS + 7u) {
        return SURE_BITS;
    }
    for (; range >> 31 == 0u; range <<= 1) {
        spent++;
    }
    return room < spent ? 0u : room - spent < SURE_BITS ? room - spent : SURE_BITS;
}

/*@ more_row( */
/* Where the row for one more stands in its table. */
static size_t more_row(size_t spare)
{
    return 2u * (spare < LAST_ROW ? spare : LAST_ROW);
}

/*@ end_string( */
/* Bring `low` to the end of the shortest string in the interval; the string's bits. */
static size_t end_string(struct coder *to)
{
    uint32_t rest = 0xffffffffu, last = 0;
    size_t bits = 8u * to->shifts;

    while (last - to->low >= to->range) {
        rest >>= 1;
        last = (to->low + rest) & ~rest;
        bits++;
    }
    if (last < to->low) {
        carry(to);
    }
    to->low = last;
    return bits;
}

/*@ flush( */
/* What is left of the string, up to so many octets. */
static void flush(struct coder *to, size_t octets)
{
    for (; to->shifts < octets; to->low <<= 8) {
        to->octets[to->shifts++] = (uint8_t)(to->low >> 24);
    }
}

/*@ leave( */
static void leave(struct mark *mark, const struct coder *at)
{
    mark->low = at->low;
    mark->range = at->range;
    mark->shifts = at->shifts;
    mark->last = at->shifts > 0u && at->shifts <= at->most ? at->octets[at->shifts - 1u] : 0u;
}

/*@ take_back( */
/* Go back to a mark, and undo a carry into the octets before it, if there was one. */
static void take_back(struct coder *to, const struct mark *mark)
{
    size_t at = mark->shifts;

    to->low = mark->low;
    to->range = mark->range;
    to->shifts = at;
    if (at > 0u && to->octets[at - 1u] != mark->last) {
        while (to->octets[--at]-- == 0u) {
        }
    }
}

/*@ set_age( */
/* Which row for how long ago a species was in a set: last in that instance, from 1 on, 0 in none. */
static unsigned set_age(unsigned instances, unsigned last)
{
    const unsigned ago = instances - last;

    if (instances == 0u) {
        return 0;
    }
    if (last == 0u) {
        return ago < 4u ? ago : 4u;
    }
    return 5u + (ago < 5u ? ago : 5u);
}

/*@ fail( */
static void fail(struct source *from, enum @call@_result fault)
{
    if (from->fault == @macro@_OK) {
        from->fault = fault;
    }
    from->range = FIRST_RANGE;
}

/*@ take_in( */
/* Eight more bits; beyond the last there are zeros. */
static void take_in(struct source *from)
{
    const size_t at = from->at >> 3;
    const unsigned used = (unsigned)(from->at & 7u);
    uint32_t two = at < from->length ? (uint32_t)from->octets[at] << 8 : 0u;

    two |= at + 1u < from->length ? from->octets[at + 1u] : 0u;
    from->value = from->value << 8 | (two >> (8u - used) & 0xffu);
    from->at += 8u;
}

/*@ begin_reading( */
static void begin_reading(
    struct source *from, const uint8_t *octets, size_t length, size_t at)
{
    from->range = FIRST_RANGE;
    from->octets = octets;
    from->length = length;
    from->left = (8u * length - at + 7u) / 8u;
    from->at = at;
    from->fault = @macro@_OK;
    from->value = 0;
    for (unsigned i = 0; i < 4u; i++) {
        take_in(from);
    }
}

/*@ cut( */
/* Narrow the interval to the shares from `first` to `until`, each r wide; 0 is where it ends.
 * The value keeps its distance from where the interval starts. */
static void cut(struct source *from, uint32_t r, uint32_t first, uint32_t until)
{
    const uint32_t start = r * first;

    from->range = (until > 0u ? r * until : from->range) - start;
    for (from->value -= start; from->range >> 24 == 0u; from->range <<= 8) {
        if (from->left == 0u) {
            fail(from, @macro@_WRONG_LENGTH);
            return;
        }
        from->left--;
        take_in(from);
    }
}

/*@ get_symbol( */
static unsigned get_symbol(struct source *from, const uint16_t *row, unsigned symbols)
{
    const uint32_t r = from->range >> 16;
    unsigned found = 0;

    while (found + 1u < symbols && from->value >= r * row[found + 1u]) {
        found++;
    }
    cut(from, r, row[found], found + 1u < symbols ? row[found + 1u] : 0u);
    return found;
}

/*@ get_yes( */
/* The answer to a question to which no has a share of `no`. */
static bool get_yes(struct source *from, uint32_t no)
{
    const uint32_t r = from->range >> 16;
    const bool yes = from->value >= r * no;

    cut(from, r, yes ? no : 0u, yes ? 0u : no);
    return yes;
}

/*@ get_digit( */
static uint32_t get_digit(struct source *from, uint32_t values)
{
    const uint32_t r = quotient(from->range, values);
    const uint32_t digit = quotient(from->value, r);

    if (digit >= values) {
        fail(from, @macro@_NOT_CANONICAL);
        return 0;
    }
    cut(from, r, digit, digit + 1u);
    return digit;
}

/*@ get_alike( */
/* A number 0 to last, all alike. */
static @code@ get_alike(struct source *from, @code@ last)
{
    unsigned shift = 0;
    @code@ code;

    while (last >> shift > 0xffffu) {
        shift++;
    }
    code = get_digit(from, (uint32_t)(last >> shift) + 1u);
    while (shift > 0u) {
        const unsigned width = shift < 16u ? shift : 16u;

        shift -= width;
        code = code << width | get_digit(from, (uint32_t)1 << width);
    }
    if (code > last) {
        fail(from, @macro@_NOT_CANONICAL);
        return 0;
    }
    return code;
}

/*@ get_by_class( */
static @code@ get_by_class(
    struct source *from, const uint16_t *row, unsigned classes, @code@ last)
{
    const unsigned found = get_symbol(from, row, classes);
    @code@ first, width;

    if (found < 8u) {
        return found;
    }
    first = (@code@)(8u + 4u * (found & 1u)) << ((found - 8u) / 2u);
    width = (@code@)4u << ((found - 8u) / 2u);
    return first + get_alike(from, width - 1u < last - first ? width - 1u : last - first);
}

/*@ unfold( */
static @code@ unfold(@code@ folded, @code@ centre, @code@ last)
{
    const @code@ both = centre < last - centre ? centre : last - centre;

    if (folded > 2u * both) {
        return last - centre > both ? centre + (folded - both) : centre - (folded - both);
    }
    return folded % 2u > 0u ? centre + (folded + 1u) / 2u : centre - folded / 2u;
}

/*@ get_spare_bits( */
static size_t get_spare_bits(const struct source *from, size_t room)
{
    return spare_bits(from->range, (room + 7u) / 8u - from->left, room);
}

/*@ is_same( */
/* Whether a payload is the rest of a frame but for zeros that fill its last octet. */
static bool is_same(
    const uint8_t *payload, size_t bits, const uint8_t *octets, size_t length, size_t at)
{
    const size_t left = 8u * length - at;

    if (bits > left || left - bits > 7u) {
        return false;
    }
    for (size_t i = 0; i < left; i++, at++) {
        const unsigned right = i < bits ? (unsigned)payload[i >> 3] << (i & 7u) & 0x80u : 0u;

        if (((unsigned)octets[at >> 3] << (at & 7u) & 0x80u) != right) {
            return false;
        }
    }
    return true;
}
