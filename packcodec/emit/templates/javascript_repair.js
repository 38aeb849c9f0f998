    /* ---- Repair: symbols that win lost frames back, which the receiver solves */

    function rides(code, sequence) {
        var repair = SCHEMA.repair, turn = sequence % repair.every * repair.symbols % repair.every;
        return turn < repair.symbols && repair.messages.indexOf(code) >= 0;
    }

    function putRepair(out, code, sequence) {
        if (rides(code, sequence)) {
            put(out, 0, SCHEMA.repair.held_bits + 8 * SCHEMA.repair.symbol_bytes);
        }
    }

    function takeRepair(from, code, sequence) {
        var repair = SCHEMA.repair, octets = [], held, at;
        if (!isWhole(sequence)) {
            throw new Refused('sequence', 'is not in the frame: say input.sequence');
        }
        if (!rides(code, sequence)) {
            return null;
        }
        if (from.at + repair.held_bits + 8 * repair.symbol_bytes > 8 * from.bytes.length) {
            throw new Refused('repair', 'is past the end', WRONG_LENGTH);
        }
        held = take(from, repair.held_bits, 'repair.held');
        if (held > repair.window) {
            throw new Refused('repair.held', 'is past the window', OUT_OF_RANGE);
        }
        for (at = 0; at < repair.symbol_bytes; at += 1) {
            octets.push(take(from, 8, 'repair.symbol'));
        }
        return {held: held, symbol: hex(octets)};
    }

