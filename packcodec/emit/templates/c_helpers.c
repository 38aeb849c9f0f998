/*@ struct writer */
/* Where the next bit goes; the bits after it in its octet are zero. */
struct writer {
    uint8_t *octets;
    size_t bits;
};

/*@ struct reader */
/* Where the next bit comes from, and how many of them are left. */
struct reader {
    const uint8_t *octets;
    size_t at;
    size_t left;
};

/*@ put(&to */
/* Append the upper `width` bits, 1 to 32, of a word whose other bits are zero. */
static void put(struct writer *to, uint32_t word, unsigned width)
{
    const unsigned used = (unsigned)(to->bits & 7u);
    uint8_t *octet = to->octets + (to->bits >> 3);

    to->bits += width;
    *octet = (uint8_t)((used > 0u ? *octet : 0u) | word >> (24u + used));
    word <<= 8u - used;
    for (width += used; width > 8u; width -= 8u) {
        *++octet = (uint8_t)(word >> 24);
        word <<= 8;
    }
}

/*@ enough(from */
/* Whether so many bits are left; counts them as read if they are. */
static bool enough(struct reader *from, size_t bits)
{
    if (from->left < bits) {
        return false;
    }
    from->left -= bits;
    return true;
}

/*@ take( */
/* The next `width` bits, at most 32, which must be there. */
static uint32_t take(struct reader *from, unsigned width)
{
    uint32_t value = 0;

    while (width > 0u) {
        const unsigned room = 8u - (unsigned)(from->at & 7u);
        const unsigned now = width < room ? width : room;
        const uint32_t octet = from->octets[from->at >> 3];

        value = value << now | (octet >> (room - now) & ((1u << now) - 1u));
        from->at += now;
        width -= now;
    }
    return value;
}

/*@ take_wide( */
/* The next `width` bits, 33 to 64. */
static uint64_t take_wide(struct reader *from, unsigned width)
{
    const uint64_t upper = take(from, width - 32u);

    return upper << 32 | take(from, 32u);
}

/*@ finish( */
/* What is left after the last value must be zeros to the end of the octet. */
static enum @call@_result finish(struct reader *from)
{
    if (from->left > 7u) {
        return @macro@_WRONG_LENGTH;
    }
    return take(from, (unsigned)from->left) == 0u ? @macro@_OK : @macro@_NONZERO_PAD;
}

/*@ check( */
/* The CRC of what both ends know and nobody sends, then of the octets that are sent. */
static uint32_t crc(uint32_t so_far, const uint8_t *octets, size_t length)
{
    while (length-- > 0u) {
        so_far ^= (uint32_t)*octets++ << (CHECK_BITS - 8u);
        for (unsigned bit = 0; bit < 8u; bit++) {
            so_far = so_far << 1 ^ (so_far >> (CHECK_BITS - 1u) & 1u ? POLYNOMIAL : 0u);
        }
    }
    return so_far;
}

static uint32_t check(uint8_t message, uint32_t station, const uint8_t *frame, size_t octets)
{
    const size_t length = octets + CHECK_BYTES;
    const uint8_t unsent[7] = {
        message,
        (uint8_t)(station >> 24),
        (uint8_t)(station >> 16),
        (uint8_t)(station >> 8),
        (uint8_t)station,
        (uint8_t)(length >> 8),
        (uint8_t)length,
    };

    return ~crc(crc(CRC_OF_IDENTITY, unsent, sizeof unsent), frame, octets) & CHECK_MASK;
}
