/* @title@
 *
 * Identity @identity@
 * Written from the schema: change that, not this. ECMAScript 5, one file, no state.
 *
 * decodeUplink, decodeDownlink and encodeDownlink have the shapes of the LoRa Alliance's payload
 * codec interface (TS013). Where a frame does not carry station or message, input.station and
 * input.message say them; without input.message, the message is the one whose code is one less
 * than input.fPort. input.recvTime resolves times that are sent modulo a span.
//@ if repair
 *
 * Where a frame carries a repair symbol, data.repair has it: how many frames are held in it, and
 * its bytes in hexadecimal. A frame made here says that its symbol covers nothing.
//@ end
//@ if sealed
 *
 * Frames are sealed by AES-CCM under the station's key, which is not here: whoever has it passes
 * input.open = function (station, nonce, sealed, associated) and, to send, input.seal with the
 * same arguments, of arrays of octets; the tag of @octets@ stands at the end of `sealed`, and null
 * says that it is wrong. input.expected has, by the station, one more than the highest
 * data.counter so far. Without input.open, data.sealed is the frame in hexadecimal. A sequence
 * must never be sent twice under one key.
//@ end
 */
var packcodec = (function () {
    'use strict';

    var REASONS = ['', 'WRONG_LENGTH', 'UNKNOWN_TAG', 'FAILED_CHECK', 'OUT_OF_RANGE',
        'NONZERO_PAD', 'UNKNOWN_MESSAGE'];
    var WRONG_LENGTH = 1, UNKNOWN_TAG = 2, FAILED_CHECK = 3, OUT_OF_RANGE = 4, NONZERO_PAD = 5,
        UNKNOWN_MESSAGE = 6;

    var SCHEMA = null; /* @schema@ */

    /* What a record, a frame or the carrier gets wrong; `reason` is 0 but for a frame. */
    function Refused(place, problem, reason) {
        this.reason = reason || 0;
        this.text = (reason ? REASONS[reason] + ' (' + reason + '): ' : '') + place + ' ' + problem;
    }

    function power(bits) {
        return Math.pow(2, bits);
    }

    function own(object, name) {
        return Object.prototype.hasOwnProperty.call(object, name) ? object[name] : undefined;
    }

    function isWhole(number) {
        return typeof number === 'number' && isFinite(number) && Math.floor(number) === number;
    }

    /* ---- Frames */

    function encode(record@told@) {
        var message = messageNamed(record.message), out = {bytes: [], bits: 0};
        var sequence = record.sequence@crc@;
//@ if counted
//@ else
        if ((sequence === undefined || sequence === null) && SCHEMA.sequence_bits === 0) {
            sequence = 0;
        }
//@ end
        wholeNumber('station', record.station, SCHEMA.station_bits || 32);
        wholeNumber('sequence', sequence, 32);
        put(out, SCHEMA.tag, SCHEMA.tag_bits);
        put(out, message.code, SCHEMA.message_bits);
        put(out, record.station, SCHEMA.station_bits);
        put(out, sequence, SCHEMA.sequence_bits);
//@ if repair
        putRepair(out, message.code, sequence);
//@ end
        writePayload(out, message, record.values);
//@ if sealed
        return sealed(out.bytes, message.code, record.station, sequence, told.seal);
//@ else
        crc = check(out.bytes, message.code, record.station);
        for (at = octets - 1; at >= 0; at -= 1) {
            out.bytes.push(Math.floor(crc / power(8 * at)) % 256);
        }
        return out.bytes;
//@ end
    }

    function decode(bytes, said) {
        var octets = SCHEMA.check_bits / 8, data = bytes.slice(0, Math.max(0, bytes.length - octets));
        var header = SCHEMA.tag_bits + SCHEMA.message_bits + SCHEMA.station_bits +
            SCHEMA.sequence_bits;
        var from = {bytes: data, at: 0}, code, station, sequence, message, record, at@more@;
        if (bytes.length < Math.ceil(header / 8) + octets || bytes.length > SCHEMA.most_bytes) {
            throw new Refused('frame', 'has ' + bytes.length + ' bytes', WRONG_LENGTH);
        }
        if (take(from, SCHEMA.tag_bits, 'tag') !== SCHEMA.tag) {
            throw new Refused('tag', 'is of another schema', UNKNOWN_TAG);
        }
        code = take(from, SCHEMA.message_bits, 'message');
        station = take(from, SCHEMA.station_bits, 'station');
        sequence = take(from, SCHEMA.sequence_bits, 'sequence');
        if (SCHEMA.message_bits === 0) {
            code = carriedCode(said);
        }
        if (SCHEMA.station_bits === 0) {
            station = said.station;
            if (!isWhole(station) || station < 0 || station >= power(32)) {
                throw new Refused('station', 'is not in the frame: say input.station');
            }
        }
        if (SCHEMA.sequence_bits === 0) {
            sequence = said.sequence === undefined ? null : said.sequence;
        }
//@ if sealed
        if (typeof said.open !== 'function') {
            said.shut = true;
            message = SCHEMA.messages.filter(function (each) {
                return each.code === code;
            })[0];
            return {message: message ? message.name : null, station: station, sequence: sequence,
                sealed: hex(bytes)};
        }
        counter = wholeCounter(sequence, said.expected ? own(said.expected, station) || 0 : 0);
        from.bytes = opened(bytes, Math.floor(header / 8), code, station, counter, said.open);
//@ else
        for (at = data.length; at < bytes.length; at += 1) {
            crc = crc * 256 + bytes[at];
        }
        if (check(data, code, station) !== crc) {
            throw new Refused('check', 'fails: damaged, or of another schema or station',
                FAILED_CHECK);
        }
//@ end
        for (at = 0; at < SCHEMA.messages.length; at += 1) {
            if (SCHEMA.messages[at].code === code) {
                message = SCHEMA.messages[at];
            }
        }
        if (!message) {
            throw new Refused('message', 'code ' + code + ' is not in the schema',
                UNKNOWN_MESSAGE);
        }
        record = {message: message.name, station: station, sequence: sequence};
//@ if repair
        repair = takeRepair(from, code, sequence);
//@ end
        record.values = readPayload(from, message, said);
        finish(from);
//@ if sealed
        record.counter = counter;
//@ end
//@ if repair
        if (repair) {
            record.repair = repair;
        }
//@ end
        return record;
    }

    function messageNamed(name) {
        var at;
        for (at = 0; at < SCHEMA.messages.length; at += 1) {
            if (SCHEMA.messages[at].name === name) {
                return SCHEMA.messages[at];
            }
        }
        throw new Refused('message', 'is none that the schema has');
    }

    function carriedCode(said) {
        if (said.message !== undefined) {
            return messageNamed(said.message).code;
        }
        return SCHEMA.messages.length === 1 ? SCHEMA.messages[0].code : said.fPort - 1;
    }

    function wholeNumber(place, number, bits) {
        if (!isWhole(number) || number < 0 || number >= power(bits)) {
            throw new Refused(place, 'takes a whole number 0 to ' + (power(bits) - 1));
        }
    }

    /* What both ends know of a frame beside the identity, and nobody sends. */
    function unsent(length, code, station) {
        var who = SCHEMA.station_bits ? 0 : station;
        return [SCHEMA.message_bits ? 0 : code, Math.floor(who / power(24)),
            Math.floor(who / power(16)) % 256, Math.floor(who / power(8)) % 256, who % 256,
            Math.floor(length / 256), length % 256];
    }

//@ if counted
    function hex(octets) {
        return octets.map(function (octet) {
            return (octet < 16 ? '0' : '') + octet.toString(16);
        }).join('');
    }

//@ end
    /* @check@ */
    /* The CRC of what both ends know and nobody sends, then of the data. */
    function check(data, code, station) {
        var width = SCHEMA.check_bits, crc = SCHEMA.crc_of_identity, at, bit;
        var octets = unsent(data.length + width / 8, code, station).concat(data);
        for (at = 0; at < octets.length; at += 1) {
            crc ^= octets[at] << (width - 8);
            for (bit = 0; bit < 8; bit += 1) {
                crc = (crc << 1) ^ ((crc >>> (width - 1)) & 1 ? SCHEMA.polynomial : 0);
            }
        }
        return (~crc >>> 0) % power(width);
    }

    /* @payload@ */
    function writePayload(out, message, values) {
        writeGroup(out, message.fields, values, message.name);
    }

    function readPayload(from, message, said) {
        return readGroup(from, message.fields, message.name, said);
    }

    /* ---- Bits: codes go past 32 bits, so they are taken apart by division, not by shifts */

    function put(out, code, bits) {
        var at;
        for (at = bits - 1; at >= 0; at -= 1) {
            if (out.bits % 8 === 0) {
                out.bytes.push(0);
            }
            if (Math.floor(code / power(at)) % 2 === 1) {
                out.bytes[out.bytes.length - 1] += power(7 - out.bits % 8);
            }
            out.bits += 1;
        }
    }

    function take(from, bits, place) {
        var code = 0, at;
        if (from.at + bits > 8 * from.bytes.length) {
            throw new Refused(place, 'is past the end', WRONG_LENGTH);
        }
        for (at = from.at; at < from.at + bits; at += 1) {
            code = code * 2 + ((from.bytes[at >> 3] >> (7 - at % 8)) & 1);
        }
        from.at += bits;
        return code;
    }

    function finish(from) {
        var left = 8 * from.bytes.length - from.at;
        if (left > 7) {
            throw new Refused('frame', 'has ' + left + ' bits left over', WRONG_LENGTH);
        }
        if (take(from, left, 'padding') !== 0) {
            throw new Refused('padding', 'is not zero', NONZERO_PAD);
        }
    }

    /* ---- Groups: presence bits, then the fields that are there */

    function isThere(value) {
        return value !== undefined && value !== null;
    }

    function writeGroup(out, fields, values, place) {
        var known = [], at, name, value;
        if (typeof values !== 'object' || values === null) {
            throw new Refused(place, 'takes a value for each field');
        }
        for (at = 0; at < fields.length; at += 1) {
            known.push(fields[at].name);
            if (fields[at].optional) {
                put(out, isThere(own(values, fields[at].name)) ? 1 : 0, 1);
            }
        }
        for (name in values) {
            if (known.indexOf(name) < 0) {
                throw new Refused(place + '.' + name, 'is no field');
            }
        }
        for (at = 0; at < fields.length; at += 1) {
            value = own(values, fields[at].name);
            if (isThere(value)) {
                writeField(out, fields[at], value, place + '.' + fields[at].name);
            } else if (!fields[at].optional) {
                throw new Refused(place + '.' + fields[at].name, 'has no value');
            }
        }
    }

    function readGroup(from, fields, place, said) {
        var present = [], values = {}, at, inner;
        for (at = 0; at < fields.length; at += 1) {
            inner = place + '.' + fields[at].name;
            present.push(fields[at].optional ? take(from, 1, inner) === 1 : true);
        }
        for (at = 0; at < fields.length; at += 1) {
            inner = place + '.' + fields[at].name;
            values[fields[at].name] = present[at] ? readField(from, fields[at], inner, said) : null;
        }
        return values;
    }

    function writeField(out, field, value, place) {
        var at;
        if (field.kind === 'list') {
            if (!Array.isArray(value) || value.length < field.least || value.length > field.most) {
                throw new Refused(place, 'takes ' + field.least + ' to ' + field.most + ' objects');
            }
            put(out, value.length - field.least, field.bits);
            for (at = 0; at < value.length; at += 1) {
                writeGroup(out, field.fields, value[at], place + '[' + at + ']');
            }
        } else if (field.kind === 'flags') {
            if (!Array.isArray(value)) {
                throw new Refused(place, 'takes a list of its flags');
            }
            for (at = 0; at < value.length; at += 1) {
                if (field.flags.indexOf(value[at]) < 0) {
                    throw new Refused(place, 'has no flag ' + value[at]);
                }
            }
            for (at = 0; at < field.flags.length; at += 1) {
                put(out, value.indexOf(field.flags[at]) < 0 ? 0 : 1, 1);
            }
        } else {
            put(out, codeOf(field, value, place), field.bits);
        }
    }

    function readField(from, field, place, said) {
        var value = [], code, at;
        if (field.kind === 'flags') {
            for (at = 0; at < field.flags.length; at += 1) {
                if (take(from, 1, place) === 1) {
                    value.push(field.flags[at]);
                }
            }
            return value;
        }
        code = take(from, field.bits, place);
        if (code >= field.codes) {
            throw new Refused(place, 'code ' + code + ' stands for nothing', OUT_OF_RANGE);
        }
        if (field.kind === 'list') {
            for (at = 0; at < field.least + code; at += 1) {
                value.push(readGroup(from, field.fields, place + '[' + at + ']', said));
            }
            return value;
        }
        return valueOf(field, code, said);
    }

    /* ---- Kinds of fields: value to code, and code to value */

    function codeOf(field, value, place) {
        var code;
        switch (field.kind) {
        case 'integer':
            value = endOf(field, value, place);
            if (!isWhole(value)) {
                throw new Refused(place, 'takes a whole number');
            }
            return inRange(field, value - field.plus, place);
        case 'scaled':
            value = endOf(field, value, place);
            if (typeof value !== 'number' || !isFinite(value)) {
                throw new Refused(place, 'takes a finite number');
            }
            return inRange(field, nearestStep(field, value), place);
        case 'boolean':
            if (value !== true && value !== false && value !== 0 && value !== 1) {
                throw new Refused(place, 'takes true or false');
            }
            return value ? 1 : 0;
        case 'enumeration':
            code = field.values.indexOf(value);
            if (code < 0) {
                throw new Refused(place, 'takes one of ' + field.values.join(', '));
            }
            return code;
        case 'species':
            return speciesCode(value, place);
        default:
            return timeCode(field, value, place);
        }
    }

    function valueOf(field, code, said) {
        switch (field.kind) {
        case 'integer':
        case 'scaled':
            if (field.below && code === 0) {
                return {at_most: numberOf(field, code)};
            }
            if (field.above && code === field.codes - 1) {
                return {at_least: numberOf(field, code)};
            }
            return numberOf(field, code);
        case 'boolean':
            return code === 1;
        case 'enumeration':
            return field.values[code];
        case 'species':
            return speciesLabel(code);
        default:
            return timeOf(field, code, said);
        }
    }

    function numberOf(field, code) {
        return (field.plus + code * field.by) / field.under;
    }

    function inRange(field, code, place) {
        if (code < 0 && field.below) {
            return 0;
        }
        if (code >= field.codes && field.above) {
            return field.codes - 1;
        }
        if (code < 0 || code >= field.codes) {
            throw new Refused(place, 'takes ' + numberOf(field, 0) + ' to ' +
                numberOf(field, field.codes - 1));
        }
        return code;
    }

    /* The value, or the end of the range that a bound stands for. */
    function endOf(field, value, place) {
        var low = numberOf(field, 0), high = numberOf(field, field.codes - 1), names;
        if (typeof value !== 'object') {
            return value;
        }
        names = Object.keys(value);
        if (names.length === 1 && names[0] === 'at_least' && field.above &&
                typeof value.at_least === 'number' && value.at_least >= high) {
            return high;
        }
        if (names.length === 1 && names[0] === 'at_most' && field.below &&
                typeof value.at_most === 'number' && value.at_most <= low) {
            return low;
        }
        throw new Refused(place, 'cannot say this bound');
    }

    /* floor((value - low) / step + 1/2), exactly: a first guess in doubles, put right by
     * comparing the value with the boundary between two steps. */
    function nearestStep(field, value) {
        var guess = Math.floor((value * field.under - field.plus) / field.by + 0.5);
        guess = Math.max(-1, Math.min(field.codes, guess));
        while (guess >= 0 && isBelowStep(field, value, guess)) {
            guess -= 1;
        }
        while (guess < field.codes && !isBelowStep(field, value, guess + 1)) {
            guess += 1;
        }
        return guess;
    }

    /* Whether value < low + (code - 1/2) * step, in whole numbers under 2^53. */
    function isBelowStep(field, value, code) {
        var over = 2 * field.plus + (2 * code - 1) * field.by, under = 2 * field.under;
        var near = over / under, product;
        if (value !== near) {
            return value < near;
        }
        product = near * under;
        return (product - over) + lost(near, under, product) < 0;
    }

    /* What rounding took from a * b (T. J. Dekker's product, of halves of 26 bits). */
    function lost(a, b, product) {
        var aHigh = upper(a), bHigh = upper(b), aLow = a - aHigh, bLow = b - bHigh;
        return ((aHigh * bHigh - product) + aHigh * bLow + aLow * bHigh) + aLow * bLow;
    }

    function upper(number) {
        var scaled = 134217729 * number;
        return scaled - (scaled - number);
    }

    function speciesCode(value, place) {
        var at;
        for (at = 0; at < SCHEMA.species.length; at += 1) {
            if (value === SCHEMA.species[at][1] || value === '#' + SCHEMA.species[at][0]) {
                return SCHEMA.species[at][0];
            }
        }
        for (at = 0; at < SCHEMA.species_codes; at += 1) {
            if (value === '#' + at) {
                return at;
            }
        }
        throw new Refused(place, 'is not in the species code table');
    }

    function speciesLabel(code) {
        var at;
        for (at = 0; at < SCHEMA.species.length; at += 1) {
            if (SCHEMA.species[at][0] === code) {
                return SCHEMA.species[at][1];
            }
        }
        return '#' + code;
    }

    function timeCode(field, value, place) {
        var code;
        if (typeof value === 'object') {
            if (!field.wrap || value.span_s !== field.span_s || !isWhole(value.offset_s) ||
                    Object.keys(value).length !== 2 || value.offset_s < 0 ||
                    value.offset_s >= field.span_s) {
                throw new Refused(place, 'is no offset into its span');
            }
            return Math.floor(value.offset_s / field.step_s);
        }
        code = Math.floor((instant(value, place) - SCHEMA.epoch_s) / field.step_s);
        if (field.wrap) {
            return code - Math.floor(code / field.codes) * field.codes;
        }
        if (code < 0 || code >= field.codes) {
            throw new Refused(place, 'is before the epoch or past its span');
        }
        return code;
    }

    /* Whole seconds since 1970; a part of a second never reaches the next step. */
    function instant(value, place) {
        var parts = /^(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d)(?:\.\d+)?(Z|[+\-]\d\d:\d\d)$/.exec(value);
        var milliseconds = parts ? Date.parse(parts[1] + parts[2]) : NaN;
        if (isNaN(milliseconds)) {
            throw new Refused(place, 'takes a time such as 2027-04-01T06:30:00Z');
        }
        return milliseconds / 1000;
    }

    function timeOf(field, code, said) {
        var offset = code * field.step_s, first = SCHEMA.epoch_s + offset, spans, rest;
        if (!field.wrap) {
            return written(first);
        }
        if (said.received === null) {
            said.unresolved = true;
            return {offset_s: offset, span_s: field.span_s};
        }
        spans = Math.floor((said.received - first) / field.span_s);
        rest = said.received - first - spans * field.span_s;
        return written(first + (2 * rest > field.span_s ? spans + 1 : spans) * field.span_s);
    }

    function written(seconds) {
        var text;
        if (!(seconds >= -62135596800 && seconds < 253402300800)) {
            throw new Refused('input.recvTime', 'is next to the end of the calendar');
        }
        text = new Date(seconds * 1000).toISOString();
        return text.replace('.000Z', 'Z');
    }

    /* ---- The interface of TS013 */

    function decodeUplink(input) {
        var when = input.recvTime, said = {fPort: input.fPort, received: null, unresolved: false};
        var data, warnings = [];
        said.station = input.station;
        said.message = input.message;
        said.sequence = input.sequence;
//@ if sealed
        said.open = input.open;
        said.expected = input.expected;
//@ end
        if (when && typeof when.getTime === 'function' && !isNaN(when.getTime())) {
            said.received = when.getTime() / 1000;
        }
        try {
            data = decode(Array.prototype.slice.call(input.bytes), said);
        } catch (error) {
            return {warnings: [], errors: [told(error)]};
        }
        if (said.unresolved) {
            warnings.push('without input.recvTime, times are only known within their span');
        }
//@ if sealed
        if (said.shut) {
            warnings.push('without input.open, nothing of a sealed frame is verified or read');
        }
//@ end
        return {data: data, warnings: warnings, errors: []};
    }

    function encodeDownlink(input) {
        var port = 1;
        try {
            if (SCHEMA.message_bits === 0) {
                port = messageNamed(input.data.message).code + 1;
            }
            return {bytes: encode(input.data@input@), fPort: port, warnings: [], errors: []};
        } catch (error) {
            return {bytes: [], fPort: port, warnings: [], errors: [told(error)]};
        }
    }

    function told(error) {
        if (error instanceof Refused) {
            return error.text;
        }
        throw error;
    }

    return {decodeUplink: decodeUplink, encodeDownlink: encodeDownlink};
}());

function decodeUplink(input) {
    return packcodec.decodeUplink(input);
}

function decodeDownlink(input) {
    return packcodec.decodeUplink(input);
}

function encodeDownlink(input) {
    return packcodec.encodeDownlink(input);
}

if (typeof module === 'object' && module.exports) {
    module.exports = {
        decodeUplink: decodeUplink,
        decodeDownlink: decodeDownlink,
        encodeDownlink: encodeDownlink
    };
}
