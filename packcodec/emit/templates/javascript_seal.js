    /* ---- The seal: AES-CCM, with what nobody sends as associated data */

    function sealed(data, code, station, counter, seal) {
        var header = SCHEMA.tag_bits + SCHEMA.message_bits + SCHEMA.station_bits +
            SCHEMA.sequence_bits, clear = SCHEMA.hides ? header / 8 : data.length;
        if (typeof seal !== 'function') {
            throw new Refused('station', 'has no key here: say input.seal');
        }
        return data.slice(0, clear).concat(seal(station, nonce(station, counter),
            data.slice(clear), associated(data, clear, data.length, code, station)));
    }

    function opened(bytes, header, code, station, counter, open) {
        var length = bytes.length - SCHEMA.check_bits / 8, clear = SCHEMA.hides ? header : length;
        var plain = open(station, nonce(station, counter), bytes.slice(clear),
            associated(bytes, clear, length, code, station));
        if (!plain) {
            throw new Refused('check', 'fails: damaged, replayed, or of another key',
                FAILED_CHECK);
        }
        return bytes.slice(0, clear).concat(Array.prototype.slice.call(plain));
    }

    function associated(bytes, clear, length, code, station) {
        var known = SCHEMA.identity.match(/../g).map(function (octet) {
            return parseInt(octet, 16);
        });
        return known.concat(unsent(length + SCHEMA.check_bits / 8, code, station),
            bytes.slice(0, clear));
    }

    function nonce(station, counter) {
        var octets = [0, 0, 0, 0], at;
        for (at = 24; at >= 0; at -= 8) {
            octets.push(Math.floor(station / power(at)) % 256);
        }
        octets.push(0);
        for (at = 24; at >= 0; at -= 8) {
            octets.push(Math.floor(counter / power(at)) % 256);
        }
        return octets;
    }

    /* The counter nearest to the one expected whose last bits are those sent. */
    function wholeCounter(sent, expected) {
        var circle = power(SCHEMA.sequence_bits || 16), counter;
        if (!isWhole(sent) || sent < 0 || sent >= power(32)) {
            throw new Refused('sequence', 'is not in the frame: say input.sequence');
        }
        counter = expected - expected % circle + sent % circle;
        if (2 * counter <= 2 * expected - circle && counter + circle < power(32)) {
            return counter + circle;
        }
        if ((2 * counter > 2 * expected + circle || counter >= power(32)) && counter >= circle) {
            return counter - circle;
        }
        return counter;
    }

