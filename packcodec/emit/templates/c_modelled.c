/* ---- Modelled coding (spec/modelled-coding.md). The walk goes over the codes of fixed coding in
 * work->fixed: it reads them there to encode, and writes them there to decode. */

#define FIRST_RANGE 0xfc000000u
#define LEAST_RANGE 0x1000000u
#define PLAIN_BITS 6u
#define ROOMY_BITS 0x100000u
#define TAIL_BITS @tail_bits@u
#define NOWHERE 0xffffu
#define NO_SPECIES 0xffffffffu

enum part { VALUE, START, GAP, SPECIES, LIST };
enum known_by { HOUR, PREVIOUS, LAST, KIN, ACTIVE, BEFORE };
enum getting { THE_CODE, THE_PRESENCE };

/* What may choose a row or a centre; `field` and `last` are those of an earlier field. */
struct context {
    uint8_t by;
    uint8_t field;
    uint64_t last;
};

/* A place: its greatest code, and rows of cumulative frequencies without their ends. */
struct place {
    uint64_t last;
    uint64_t centre;
    const uint16_t *rows;
    const struct context *contexts;
    const struct context *around;
    const uint8_t *kin;
    uint8_t context_count;
    uint8_t centred;
    uint8_t field;
    uint8_t get;
};

struct field {
    uint8_t part;
    uint8_t optional;
    uint8_t width;
    uint8_t known;
    uint32_t step_s;
    uint32_t an_hour;
    uint64_t last;
    const struct place *presence;
    const struct place *place;
    const struct list *list;
    const uint16_t *recent;
    const uint16_t *fresh;
    uint8_t by_hour;
};

struct @call@_group {
    const struct field *fields;
    uint8_t count;
    uint8_t species_at;
    uint32_t clock_step_s;
};

struct list {
    struct @call@_group group;
    uint8_t least;
    uint8_t most;
    uint8_t number;
    uint8_t by_hour;
    const uint16_t *set;
    const uint8_t *there;
    const uint8_t *age;
    const uint16_t *more;
};

/* The walk ends after this; until then no range is too small to be divided. */
static void fail(struct @call@_work *work, enum @call@_result fault)
{
    if (work->fault == @macro@_OK) {
        work->fault = fault;
    }
    work->range = FIRST_RANGE;
}

static unsigned length_of(uint64_t number)
{
    uint32_t left = (uint32_t)number;
    unsigned bits = 0;

    if (number > 0xffffffffu) {
        left = (uint32_t)(number >> 32);
        bits = 32;
    }
    for (; left > 0xffu; left >>= 8) {
        bits += 8u;
    }
    for (; left > 0u; left >>= 1) {
        bits++;
    }
    return bits;
}

/* ---- Codes of fixed coding, by their place in work->fixed */

static uint32_t get_bits_32(const uint8_t *octets, size_t at, unsigned width)
{
    uint32_t code = 0;

    while (width > 0u) {
        const unsigned room = 8u - (unsigned)(at & 7u);
        const unsigned now = width < room ? width : room;
        const uint32_t octet = octets[at >> 3];

        code = code << now | (octet >> (room - now) & ((1u << now) - 1u));
        at += now;
        width -= now;
    }
    return code;
}

static uint64_t get_bits(const uint8_t *octets, size_t at, unsigned width)
{
    uint64_t code = 0;

    if (width > 32u) {
        code = get_bits_32(octets, at, width - 32u);
        at += width - 32u;
        width = 32;
    }
    return code << width | get_bits_32(octets, at, width);
}

static void set_bits(uint8_t *octets, size_t at, unsigned width, uint64_t code)
{
    while (width-- > 0u) {
        const uint8_t mask = (uint8_t)(0x80u >> (at & 7u));

        octets[at >> 3] = (uint8_t)((code >> width & 1u) ? octets[at >> 3] | mask
                                                         : octets[at >> 3] & ~mask);
        at++;
    }
}

/* Note a code that was decoded; one to encode is there already. */
static void say(struct @call@_work *work, size_t at, unsigned width, uint64_t code)
{
    if (!work->encoding) {
        set_bits(work->fixed, at, width, code);
    }
}

static unsigned optional_before(const struct @call@_group *group, unsigned field)
{
    unsigned count = 0;

    for (unsigned i = 0; i < field; i++) {
        count += group->fields[i].optional;
    }
    return count;
}

static bool is_there(
    const struct @call@_work *work, const struct @call@_group *group, size_t start, unsigned field)
{
    return !group->fields[field].optional ||
        get_bits(work->fixed, start + optional_before(group, field), 1u) != 0u;
}

/* The bit after a group without lists, after one whose lists have none, after a list. */
static size_t past_flat(const struct @call@_work *work, const struct @call@_group *group, size_t start)
{
    size_t at = start + optional_before(group, group->count);

    for (unsigned i = 0; i < group->count; i++) {
        at += is_there(work, group, start, i) ? group->fields[i].width : 0u;
    }
    return at;
}

static size_t past_element(const struct @call@_work *work, const struct @call@_group *group, size_t start)
{
    size_t at = start + optional_before(group, group->count);

    for (unsigned i = 0; i < group->count; i++) {
        const struct field *field = &group->fields[i];

        if (!is_there(work, group, start, i)) {
            continue;
        }
        if (field->part == LIST) {
            size_t left = (size_t)get_bits(work->fixed, at, field->width) + field->list->least;

            at += field->width;
            while (left-- > 0u) {
                at = past_flat(work, &field->list->group, at);
            }
        } else {
            at += field->width;
        }
    }
    return at;
}

static size_t past_list(const struct @call@_work *work, const struct field *field, size_t at)
{
    size_t left = (size_t)get_bits(work->fixed, at, field->width) + field->list->least;

    at += field->width;
    while (left-- > 0u) {
        at = past_element(work, &field->list->group, at);
    }
    return at;
}

/* The code of a field of the group that starts at `start`, false if it is absent. */
static bool peek(
    const struct @call@_work *work, const struct @call@_group *group, size_t start, unsigned field,
    uint64_t *code)
{
    size_t at = start + optional_before(group, group->count);

    if (!is_there(work, group, start, field)) {
        return false;
    }
    for (unsigned i = 0; i < field; i++) {
        const struct field *before = &group->fields[i];

        if (is_there(work, group, start, i)) {
            at = before->part == LIST ? past_list(work, before, at) : at + before->width;
        }
    }
    *code = get_bits(work->fixed, at, group->fields[field].width);
    return true;
}

/* ---- The range coder */

static void narrow(struct @call@_work *work, uint32_t start, uint32_t size)
{
    if (work->encoding) {
        const uint32_t before = work->low;

        work->low += start;
        if (work->low < before) {
            size_t at = work->shifts;

            while (at > 0u && ++work->coded[at - 1u] == 0u) {
                at--;
            }
        }
    } else {
        work->low -= start;
    }
    work->range = size;
    while (work->range < LEAST_RANGE) {
        if (work->encoding) {
            if (work->shifts >= sizeof work->coded - 4u) {
                fail(work, @macro@_NO_ROOM);
                return;
            }
            work->coded[work->shifts] = (uint8_t)(work->low >> 24);
            work->low <<= 8;
        } else {
            uint32_t octet = 0;

            if (work->shifts >= (work->bits + 7u) / 8u) {
                fail(work, @macro@_WRONG_LENGTH);
                return;
            }
            for (unsigned bit = 0; bit < 8u; bit++) {
                const size_t at = 8u * ((size_t)work->shifts + 4u) + bit;

                octet = octet << 1;
                if (at < work->bits) {
                    octet |= (uint32_t)get_bits(work->source, work->source_at + at, 1u);
                }
            }
            work->low = work->low << 8 | octet;
        }
        work->range <<= 8;
        work->shifts++;
    }
}

static unsigned symbol(
    struct @call@_work *work, const uint16_t *sums, unsigned symbols, unsigned said)
{
    const uint32_t r = work->range >> 16;
    uint32_t start;

    if (!work->encoding) {
        said = 0;
        while (said + 1u < symbols && work->low >= r * sums[said]) {
            said++;
        }
    }
    start = said > 0u ? r * sums[said - 1u] : 0u;
    narrow(work, start, (said + 1u < symbols ? r * sums[said] : work->range) - start);
    return said;
}

static uint32_t digit(struct @call@_work *work, uint32_t values, uint32_t said)
{
    const uint32_t r = work->range / values;

    if (!work->encoding) {
        said = work->low / r;
        if (said >= values) {
            fail(work, @macro@_NOT_CANONICAL);
            return 0;
        }
    }
    narrow(work, r * said, r);
    return said;
}

/* A number 0 to last, all alike, in digits of 16 bits at most. */
static uint64_t uniform(struct @call@_work *work, uint64_t last, uint64_t said)
{
    unsigned shift = last > 0xffffu ? length_of(last) - 16u : 0u;
    uint64_t number;

    number = (uint64_t)digit(work, (uint32_t)(last >> shift) + 1u, (uint32_t)(said >> shift));
    while (shift > 0u) {
        const unsigned width = shift < 16u ? shift : 16u;
        const uint32_t values = (uint32_t)1 << width;

        shift -= width;
        number = number << width | digit(work, values, (uint32_t)(said >> shift) & (values - 1u));
    }
    if (number > last) {
        fail(work, @macro@_NOT_CANONICAL);
        return 0;
    }
    return number;
}

static void begin(struct @call@_work *work, bool encoding)
{
    work->encoding = encoding;
    work->fault = @macro@_OK;
    work->low = 0;
    work->range = FIRST_RANGE;
    work->shifts = 0;
}

static size_t spent_bits(const struct @call@_work *work)
{
    return 8u * (size_t)work->shifts + 32u - length_of(work->range);
}

/* Complete the shortest string of the interval in work->coded; its bits. */
static size_t finish_coding(struct @call@_work *work)
{
    const uint32_t end = work->low + (work->range - 1u);
    unsigned zeros = 32;
    uint32_t window = 0;

    if (end >= work->low) {
        zeros = length_of(work->low ^ end);
        if (zeros == 32u ? work->low != 0u : (work->low & (((uint32_t)1 << zeros) - 1u)) != 0u) {
            zeros--;
        }
    }
    if (zeros < 32u) {
        const uint32_t mask = ((uint32_t)1 << zeros) - 1u;

        window = (work->low + mask) & ~mask;
        while (zeros < 32u && (window >> zeros & 1u) == 0u) {
            zeros++;
        }
    } else if (work->low != 0u) {
        size_t at = work->shifts;

        while (at > 0u && ++work->coded[at - 1u] == 0u) {
            at--;
        }
    }
    for (unsigned i = 0; i < 4u; i++) {
        work->coded[work->shifts + i] = (uint8_t)(window >> (24u - 8u * i));
    }
    return 32u + 8u * (size_t)work->shifts - zeros;
}

/* ---- What is known, and what it chooses */

static unsigned class_of(uint64_t code, uint64_t last)
{
    unsigned octave;

    if (code < 8u || last < 24u) {
        return (unsigned)code;
    }
    octave = length_of(code) - 4u;
    return 8u + 2u * octave + (unsigned)(code >> (octave + 2u) & 1u);
}

static unsigned bucket(uint64_t code, uint64_t last)
{
    return last < 8u ? (unsigned)code + 1u
                     : class_of(code, last) * 8u / (class_of(last, last) + 1u) + 1u;
}

static unsigned hour_row(const struct @call@_work *work)
{
    if (!work->started) {
        return 4;
    }
    return (unsigned)((work->start_s + work->elapsed_s) / 3600u % 24u * 8u / 24u);
}

/* The place of a species among the known, which ascend; KNOWN_COUNT if it is none of them. */
static unsigned position_of(uint64_t species)
{
    unsigned first = 0, end = KNOWN_COUNT;

    while (first < end) {
        const unsigned middle = (first + end) / 2u;

        if (KNOWN[middle] < species) {
            first = middle + 1u;
        } else {
            end = middle;
        }
    }
    return first < KNOWN_COUNT && KNOWN[first] == species ? first : KNOWN_COUNT;
}

/* What a new species, or the escape, has of 2^16, by where the shares begin. */
static uint32_t share_of(const uint16_t *starts, unsigned at)
{
    return (at < KNOWN_COUNT ? starts[at + 1u] : 65536u) - starts[at];
}

/* Where a share begins once those of the recent species are nobody's. */
static uint32_t start_of(
    const uint16_t *starts, const struct @call@_history *history, unsigned recent, unsigned at)
{
    uint32_t start = starts[at];

    for (unsigned i = 0; i < recent; i++) {
        start -= history->seen[i].known < at ? share_of(starts, history->seen[i].known) : 0u;
    }
    return start;
}

/* A code said earlier in the packet, false where there is none. */
static bool earlier(
    const struct @call@_work *work, const struct context *context, const struct place *place,
    uint64_t *code)
{
    const struct @call@_level *level = &work->levels[work->level];
    const struct @call@_group *group = level->group;
    const struct @call@_history *history = &work->histories[level->history];
    size_t start = history->previous;

    if (context->by == BEFORE) {
        return peek(work, group, level->start, context->field, code);
    }
    if (context->by == LAST) {
        uint64_t species = 0;
        unsigned i = 0;

        (void)peek(work, group, level->start, group->species_at, &species);
        while (i < history->count && history->seen[i].species != species) {
            i++;
        }
        start = i < history->count ? history->seen[i].start : NOWHERE;
    }
    if (start == NOWHERE) {
        return false;
    }
    if (place->get == THE_PRESENCE) {
        *code = is_there(work, group, start, place->field);
        return true;
    }
    return peek(work, group, start, place->field, code);
}

/* Which of its kinds a context is in; *kinds is how many there are. */
static unsigned kind_of(
    const struct @call@_work *work, const struct context *context, const struct place *place,
    unsigned *kinds)
{
    const struct @call@_level *level = &work->levels[work->level];
    const struct @call@_history *history = &work->histories[level->history];
    uint64_t code = 0;
    unsigned count = 0;

    switch (context->by) {
    case HOUR:
        *kinds = 8;
        return hour_row(work);
    case ACTIVE:
        *kinds = 4;
        while (count < 3u && count < history->count &&
               history->seen[count].when + 4u * (@moment@)level->group->clock_step_s >=
                   work->elapsed_s) {
            count++;
        }
        return count;
    case KIN:
        *kinds = 4;
        (void)peek(work, level->group, level->start, level->group->species_at, &code);
        count = position_of(code);
        return count < KNOWN_COUNT ? place->kin[count] : 0u;
    default:
        *kinds = context->last < 8u ? (unsigned)context->last + 2u : 9u;
        return earlier(work, context, place, &code) ? bucket(code, context->last) : 0u;
    }
}

static uint64_t fold(uint64_t code, uint64_t centre, uint64_t last)
{
    const uint64_t both = centre < last - centre ? centre : last - centre;
    const uint64_t away = code > centre ? code - centre : centre - code;

    if (away > both) {
        return both + away;
    }
    return code > centre ? 2u * away - 1u : 2u * away;
}

static uint64_t unfold(uint64_t folded, uint64_t centre, uint64_t last)
{
    const uint64_t both = centre < last - centre ? centre : last - centre;

    if (folded > 2u * both) {
        return last - centre > both ? centre + (folded - both) : centre - (folded - both);
    }
    return folded % 2u ? centre + (folded + 1u) / 2u : centre - folded / 2u;
}

static uint64_t code_by(struct @call@_work *work, const struct place *place, uint64_t said)
{
    const unsigned symbols = class_of(place->last, place->last) + 1u;
    uint64_t centre = place->centre, first, width;
    unsigned row = 0, found;

    if (place->rows == NULL) {
        return uniform(work, place->last, said);
    }
    for (unsigned i = 0; i < place->context_count; i++) {
        unsigned kinds = 1;
        const unsigned kind = kind_of(work, &place->contexts[i], place, &kinds);

        row = row * kinds + kind;
    }
    if (place->around != NULL && earlier(work, place->around, place, &first)) {
        centre = first < place->last ? first : place->last;
    }
    said = place->centred ? fold(said, centre, place->last) : said;
    found = symbol(
        work, place->rows + (size_t)row * (symbols - 1u), symbols, class_of(said, place->last));
    first = found;
    if (place->last >= 24u && found >= 8u) {
        const unsigned octave = (found - 8u) / 2u;

        first = (uint64_t)(8u + 4u * ((found - 8u) & 1u)) << octave;
        width = (uint64_t)4u << octave;
        width = width - 1u < place->last - first ? width - 1u : place->last - first;
        if (width > 0u) {
            first += uniform(work, width, said - first);
        }
    }
    return place->centred ? unfold(first, centre, place->last) : first;
}

/* ---- Parts of a group */

static uint64_t code_start(struct @call@_work *work, const struct field *field, uint64_t said)
{
    uint64_t code;

    if (field->place == NULL) {
        code = uniform(work, field->last, said);
    } else {
        const uint64_t days = (field->last + 1u) / (24u * field->an_hour);
        const uint64_t hours = said / field->an_hour;

        code = uniform(work, days - 1u, hours / 24u) * 24u;
        code = (code + code_by(work, field->place, hours % 24u)) * field->an_hour;
        code += uniform(work, field->an_hour - 1u, said % field->an_hour);
    }
    if (field->known) {
        work->started = true;
        work->start_s = (@moment@)code * field->step_s;
    }
    return code;
}

static uint64_t code_species(struct @call@_work *work, const struct field *field, uint64_t said)
{
    const struct @call@_level *level = &work->levels[work->level];
    const struct @call@_history *history = &work->histories[level->history];
    const uint32_t step_s = level->group->clock_step_s;
    const @moment@ moment = step_s > 0u ? work->elapsed_s : history->elements;
    const uint16_t *fresh = field->fresh;
    uint32_t total = 65536, r;
    unsigned found = 0, recent = 0;

    for (; recent < 8u && recent < history->count; recent++) {
        const struct @call@_seen *seen = &history->seen[recent];
        @moment@ age = (moment - seen->when) / (step_s > 0u ? step_s : 1u);

        if (age >= 4u) {
            const unsigned octave = length_of(age) - 1u;

            age = 2u * octave + (unsigned)(age >> (octave - 1u) & 1u);
            age = age < 16u ? age : 16u;
        }
        if (symbol(work, field->recent + age, 2u, seen->species == said) != 0u) {
            return seen->species;
        }
    }
    /* Those seen are out of question: their shares are nobody's. */
    fresh += field->by_hour ? hour_row(work) * (KNOWN_COUNT + 1u) : 0u;
    for (unsigned i = 0; i < recent; i++) {
        if (history->seen[i].known < KNOWN_COUNT) {
            total -= share_of(fresh, history->seen[i].known);
        }
    }
    r = work->range / total;
    if (work->encoding) {
        found = position_of(said);
    } else if (work->low / r >= total) {
        fail(work, @macro@_NOT_CANONICAL);
        return 0;
    } else {
        while (found < KNOWN_COUNT &&
               work->low >= r * start_of(fresh, history, recent, found + 1u)) {
            found++;
        }
    }
    narrow(work, r * start_of(fresh, history, recent, found), r * share_of(fresh, found));
    return found < KNOWN_COUNT ? KNOWN[found] : uniform(work, field->last, said);
}

/* ---- Lists */

static bool set_has(const struct @call@_level *level, unsigned known)
{
    return ((uint32_t)level->set[known >> 3] >> (known & 7u) & 1u) != 0u;
}

/* Whether the rows at `at` ascend by known species; notes them in the level's set. */
static bool is_set(
    struct @call@_work *work, struct @call@_level *level, const struct list *list, size_t at)
{
    unsigned next = 0;

    memset(level->set, 0, sizeof level->set);
    for (unsigned i = 0; i < level->wanted; i++) {
        uint64_t species = 0;
        unsigned known;

        (void)peek(work, &list->group, at, list->group.species_at, &species);
        known = position_of(species);
        if (known >= KNOWN_COUNT || known < next) {
            return false;
        }
        level->set[known >> 3] = (uint8_t)(level->set[known >> 3] | 1u << (known & 7u));
        next = known + 1u;
        at = past_element(work, &list->group, at);
    }
    return true;
}

static unsigned set_age(const struct @call@_history *history, uint64_t species)
{
    unsigned age;

    if (history->instances == 0u) {
        return 0;
    }
    for (unsigned i = 0; i < history->count; i++) {
        if (history->seen[i].species == species) {
            age = history->instances - 1u - history->seen[i].seen_in;
            return 5u + (age < 5u ? age : 5u);
        }
    }
    age = history->instances - 1u;
    return 1u + (age < 3u ? age : 3u);
}

static void code_set(
    struct @call@_work *work, struct @call@_level *level, const struct list *list)
{
    const struct @call@_history *history = &work->histories[list->number];
    const uint8_t *there = list->there + (list->by_hour ? hour_row(work) * KNOWN_COUNT : 0u);
    unsigned count = 0;

    for (unsigned known = 0; known < KNOWN_COUNT; known++) {
        int logit = there[known] + list->age[set_age(history, KNOWN[known])] - 256;

        logit = logit < -120 ? -120 : logit > 120 ? 120 : logit;
        if (symbol(work, &ODDS[logit + 120], 2u, set_has(level, known)) != 0u) {
            level->set[known >> 3] = (uint8_t)(level->set[known >> 3] | 1u << (known & 7u));
            count++;
        }
    }
    if (count < list->least || count > list->most) {
        fail(work, @macro@_NOT_CANONICAL);
    }
    level->wanted = (uint8_t)count;
}

/* Begin the list of the level's field: its way of saying how many, and what it needs for that. */
static void begin_list(struct @call@_work *work, struct @call@_level *level)
{
    const struct field *field = &level->group->fields[level->field];
    const struct list *list = field->list;

    level->count_at = (uint16_t)work->end;
    level->wanted = (uint8_t)(get_bits(work->fixed, work->end, field->width) + list->least);
    level->done = 0;
    level->known = 0;
    level->by_set = false;
    work->end += field->width;
    if (list->set != NULL) {
        const bool set = work->encoding && is_set(work, level, list, work->end);

        level->by_set = symbol(work, list->set, 2u, set) != 0u;
        if (level->by_set) {
            if (!work->encoding) {
                memset(level->set, 0, sizeof level->set);
            }
            code_set(work, level, list);
            return;
        }
    }
    if (list->more == NULL) {
        level->wanted = (uint8_t)(
            list->least + code_by(work, field->place, (uint64_t)level->wanted - list->least));
    }
}

/* Whether the list has one more element. */
static bool more_of(struct @call@_work *work, struct @call@_level *level)
{
    const struct list *list = level->group->fields[level->field].list;

    if (level->by_set || list->more == NULL) {
        return level->done < level->wanted;
    }
    if (level->done >= list->most) {
        return false;
    }
    if (level->done >= list->least) {
        const size_t spent = spent_bits(work);
        size_t room = work->room > spent ? work->room - spent : 0u;

        room = room < 15u ? room : 15u;
        return symbol(work, list->more + room, 2u, level->done < level->wanted) != 0u;
    }
    return true;
}

static void begin_group(
    struct @call@_work *work, const struct @call@_group *group, uint8_t history)
{
    struct @call@_level *level = &work->levels[work->level];
    const unsigned optionals = optional_before(group, group->count);

    level->group = group;
    level->history = history;
    level->field = 0;
    level->start = (uint16_t)work->end;
    level->given = NO_SPECIES;
    for (unsigned i = 0; i < optionals; i++) {
        say(work, work->end++, 1u, 0u);
    }
}

/* Note the element that has been said: the last seen stands first. */
static void note(struct @call@_work *work)
{
    const struct @call@_level *level = &work->levels[work->level];
    struct @call@_history *history = &work->histories[level->history];
    struct @call@_seen now = {0, level->start, history->instances, 0, 0};
    uint64_t species = 0;
    unsigned at = 0;

    now.when = level->group->clock_step_s > 0u ? work->elapsed_s : history->elements;
    history->previous = level->start;
    history->elements++;
    if (level->group->species_at == 0xffu) {
        return;
    }
    (void)peek(work, level->group, level->start, level->group->species_at, &species);
    now.species = (uint16_t)species;
    now.known = (uint16_t)position_of(species);
    while (at < history->count && history->seen[at].species != now.species) {
        at++;
    }
    if (at == history->count) {
        history->count++;
    }
    memmove(&history->seen[1], &history->seen[0], at * sizeof history->seen[0]);
    history->seen[0] = now;
}

/* One way through the codes of a message. Sets work->fault. */
static void walk(struct @call@_work *work, const struct @call@_group *message, size_t room)
{
    struct @call@_level *level = &work->levels[0];
    bool in_list = false;

    work->room = room;
    work->end = 0;
    work->level = 0;
    work->started = false;
    work->start_s = 0;
    work->elapsed_s = 0;
    for (unsigned i = 0; i < HISTORIES; i++) {
        work->histories[i].previous = NOWHERE;
        work->histories[i].elements = 0;
        work->histories[i].instances = 0;
        work->histories[i].count = 0;
    }
    begin_group(work, message, 0u);
    while (work->fault == @macro@_OK) {
        const struct field *field;
        uint64_t said = 0;

        if (in_list) {
            const struct list *list = level->group->fields[level->field].list;

            if (more_of(work, level)) {
                uint32_t given = NO_SPECIES;

                if (level->by_set) {
                    while (!set_has(level, level->known)) {
                        level->known++;
                    }
                    given = KNOWN[level->known++];
                }
                level->done++;
                work->level++;
                level++;
                begin_group(work, &list->group, list->number);
                level->given = given;
            } else {
                say(work, level->count_at, level->group->fields[level->field].width,
                    (uint64_t)level->done - list->least);
                work->histories[list->number].instances++;
                level->field++;
            }
            in_list = false;
            continue;
        }
        if (level->field == level->group->count) {
            if (work->level == 0u) {
                return;
            }
            note(work);
            work->level--;
            level--;
            in_list = true;
            continue;
        }
        field = &level->group->fields[level->field];
        if (level->given != NO_SPECIES && level->field == level->group->species_at) {
            say(work, work->end, field->width, level->given);
            work->end += field->width;
            level->field++;
            continue;
        }
        if (field->optional) {
            const size_t at = level->start + optional_before(level->group, level->field);
            const uint64_t there = code_by(work, field->presence, get_bits(work->fixed, at, 1u));

            say(work, at, 1u, there);
            if (there == 0u) {
                level->field++;
                continue;
            }
        }
        if (field->part == LIST) {
            begin_list(work, level);
            in_list = true;
            continue;
        }
        said = get_bits(work->fixed, work->end, field->width);
        switch (field->part) {
        case START:
            said = code_start(work, field, said);
            break;
        case SPECIES:
            said = code_species(work, field, said);
            break;
        default:
            said = code_by(work, field->place, said);
            work->elapsed_s += field->part == GAP ? (@moment@)said * field->step_s : 0u;
            break;
        }
        say(work, work->end, field->width, said);
        work->end += field->width;
        level->field++;
    }
}

/* ---- Payloads: modelled, or plain after six ones where that takes fewer octets */

static void pack(
    struct @call@_work *work, const struct @call@_group *message, bool tail, size_t bits, size_t header)
{
    const size_t plain = PLAIN_BITS + bits;
    const size_t most = (header + plain + 7u) / 8u;
    size_t octets = most;

    if (tail) {
        size_t least;

        begin(work, true);
        walk(work, message, ROOMY_BITS);
        octets = most + 1u;
        if (work->fault == @macro@_OK) {
            least = header + finish_coding(work);
            octets = least > TAIL_BITS ? (least - TAIL_BITS + 7u) / 8u : 0u;
            octets = octets > (header + 7u) / 8u ? octets : (header + 7u) / 8u;
        }
    }
    for (; octets <= most; octets++) {
        const size_t room = 8u * octets - header;
        size_t coded;

        begin(work, true);
        walk(work, message, room);
        if (work->fault != @macro@_OK) {
            continue;
        }
        coded = finish_coding(work);
        if (coded <= room) {
            /* The room belongs to what a tail means: its last octet is sent even if zero. */
            work->coded_bits = tail && coded + 7u < room ? room - 7u : coded;
            for (size_t i = (coded + 7u) / 8u; i < (work->coded_bits + 7u) / 8u; i++) {
                work->coded[i] = 0;
            }
            work->fault = @macro@_OK;
            return;
        }
    }
    work->fault = @macro@_OK;
    work->coded_bits = plain;
    set_bits(work->coded, 0u, PLAIN_BITS, 63u);
    for (size_t i = 0; i < bits; i++) {
        set_bits(work->coded, PLAIN_BITS + i, 1u, get_bits(work->fixed, i, 1u));
    }
    for (size_t i = plain; i < 8u * ((plain + 7u) / 8u); i++) {
        set_bits(work->coded, i, 1u, 0u);
    }
}

/* Whether the payload just packed is what the source holds, and nothing but zeros after it. */
static bool is_same(const struct @call@_work *work)
{
    if (work->coded_bits > work->bits || work->bits - work->coded_bits > 7u) {
        return false;
    }
    for (size_t i = 0; i < work->bits; i++) {
        const uint64_t right = i < work->coded_bits ? get_bits(work->coded, i, 1u) : 0u;

        if (get_bits(work->source, work->source_at + i, 1u) != right) {
            return false;
        }
    }
    return true;
}

/* Read the source's codes into work->fixed. False: they are plain, after six ones. */
static bool unpack(struct @call@_work *work, const struct @call@_group *message)
{
    if (work->bits >= PLAIN_BITS && get_bits(work->source, work->source_at, PLAIN_BITS) == 63u) {
        return false;
    }
    begin(work, false);
    for (size_t at = 0; at < 32u; at++) {
        work->low = work->low << 1;
        if (at < work->bits) {
            work->low |= (uint32_t)get_bits(work->source, work->source_at + at, 1u);
        }
    }
    walk(work, message, work->bits);
    return true;
}
