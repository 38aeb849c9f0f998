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

/*@ pull( */
/* Bring a payload that begins at the next octet to where it belongs, `front` bits into the frame. */
static void pull(uint8_t *frame, size_t front, size_t bits)
{
    const unsigned used = (unsigned)(front & 7u);
    uint8_t *octet = frame + (front + 7u) / 8u;

    for (size_t left = used > 0u ? (bits + 7u) / 8u : 0u; left > 0u; left--, octet++) {
        octet[-1] = (uint8_t)(octet[-1] | octet[0] >> used);
        octet[0] = (uint8_t)(octet[0] << (8u - used));
    }
}

/*@ product( */
/* In the field GF(256) of x^8 + x^4 + x^3 + x^2 + 1. */
static uint8_t product(uint8_t one, uint8_t other)
{
    unsigned power = one, total = 0;

    for (unsigned left = other; left > 0u; left >>= 1) {
        total ^= (left & 1u) > 0u ? power : 0u;
        power = power << 1 ^ ((power & 0x80u) > 0u ? 0x11du : 0u);
    }
    return (uint8_t)total;
}

/*@ coefficient( */
/* The next coefficient: the top octet, if it is not zero, of a xorshift generator. */
static uint8_t coefficient(uint32_t *state)
{
    do {
        *state ^= *state << 13;
        *state ^= *state >> 17;
        *state ^= *state << 5;
    } while (*state >> 24 == 0u);
    return (uint8_t)(*state >> 24);
}

/*@ put_symbol( */
/* After the header: how many sources the symbol covers, and the symbol (spec/repair.md). */
static void put_symbol(
    uint8_t *frame, const struct @call@_ring *ring, uint32_t station, uint32_t sequence)
{
    struct writer to = {frame, HEADER_BITS};
    uint8_t symbol[SYMBOL_BYTES] = {0};
    uint32_t state = station * 0x9e3779b1u + (sequence & SENT_MASK);
    uint32_t held = 0;

    if (ring != NULL && ring->next == sequence) {
        held = ring->held / STRIDE < WINDOW ? ring->held / STRIDE : WINDOW;
    }
    state = (state ^ state >> 16) * 0x85ebca6bu;
    state = (state ^ state >> 13) * 0xc2b2ae35u;
    state ^= state >> 16;
    state = state > 0u ? state : 1u;
    for (uint32_t k = 1; k <= held; k++) {
        const uint8_t factor = coefficient(&state);
        const uint8_t *source = ring->sources + (ring->at + SPAN - k * STRIDE) % SPAN * SYMBOL_BYTES;

        for (size_t i = 0; i < SYMBOL_BYTES; i++) {
            symbol[i] = (uint8_t)(symbol[i] ^ product(factor, source[i]));
        }
    }
    put(&to, held << (32u - HELD_BITS), HELD_BITS);
    for (size_t i = 0; i < SYMBOL_BYTES; i++) {
        put(&to, (uint32_t)symbol[i] << 24, 8u);
    }
}

/*@ join( */
/* Let a frame pass the ring: as a source, or as zeros where its payload does not fit one. */
static void join(
    struct @call@_ring *ring, uint32_t sequence, uint32_t message, const uint8_t *payload,
    size_t bits)
{
    struct writer to = {NULL, 0u};

    if (ring == NULL) {
        return;
    }
    to.octets = ring->sources + (size_t)ring->at * SYMBOL_BYTES;
    memset(to.octets, 0, SYMBOL_BYTES);
    /* Zeros at its end say nothing. */
    while (bits > 0u && (payload[(bits - 1u) >> 3] & 0x80u >> ((bits - 1u) & 7u)) == 0u) {
        bits--;
    }
    if (LEAD_BITS + bits <= 8u * SYMBOL_BYTES) {
        put(&to, (LEAD | message) << (32u - LEAD_BITS), LEAD_BITS);
        for (size_t i = 0; i < bits; i += 8u) {
            put(&to, (uint32_t)payload[i >> 3] << 24, bits - i < 8u ? (unsigned)(bits - i) : 8u);
        }
    }
    ring->at = (ring->at + 1u) % SPAN;
    ring->held = ring->next != sequence ? 1u : ring->held < SPAN ? ring->held + 1u : SPAN;
    ring->next = sequence + 1u;
}

/*@ crypt( */
/* Seal or open a frame whose readable part begins it (spec/seal.md). */
static bool crypt(
    @call@_crypt *how, void *context, uint8_t message, uint32_t who, uint32_t station,
    uint32_t counter, uint8_t *frame, size_t octets)
{
    static const uint8_t identity[32] = IDENTITY;
    uint8_t nonce[13] = {0}, known[39u + @macro@_LARGEST_FRAME_BYTES];
    const size_t clear = CLEAR(octets), length = octets + CHECK_BYTES;

    memcpy(known, identity, sizeof identity);
    known[32] = message;
    for (unsigned i = 0; i < 4u; i++) {
        known[33u + i] = (uint8_t)(who >> (24u - 8u * i));
        nonce[4u + i] = (uint8_t)(station >> (24u - 8u * i));
        nonce[9u + i] = (uint8_t)(counter >> (24u - 8u * i));
    }
    known[37] = (uint8_t)(length >> 8);
    known[38] = (uint8_t)length;
    memcpy(known + 39, frame, clear);
    return how(context, station, nonce, known, 39u + clear, frame + clear, octets - clear);
}

/*@ whole_counter( */
/* The counter nearest to the one expected whose last bits are those sent. */
static uint32_t whole_counter(uint32_t sent, uint32_t expected)
{
    const uint64_t circle = (uint64_t)1 << CIRCLE_BITS, past = (uint64_t)1 << 32;
    const uint64_t counter = (expected & ~(circle - 1u)) | (sent & (circle - 1u));

    if (counter + circle / 2u <= expected && counter + circle < past) {
        return (uint32_t)(counter + circle);
    }
    if ((counter > expected + circle / 2u || counter >= past) && counter >= circle) {
        return (uint32_t)(counter - circle);
    }
    return (uint32_t)counter;
}
