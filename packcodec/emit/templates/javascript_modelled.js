    /* ---- Modelled coding: codes by their tables, into the shortest string of bits */

    var SUMS = {}, ROOTS = [256, 279, 304, 332, 362, 395, 431, 470];
    var TOTAL = 65536, WORD = 4294967296, LEAST_RANGE = 16777216, FIRST_RANGE = 63 * 67108864;
    var PLAIN_BITS = 6, SURE_BITS = 24, LEAST_MORE = 256, MOST_RECENT = 4;
    var NOT_CANONICAL = 7, NEAR = {before: 0, before_2: 1, before_3: 2};
    REASONS[NOT_CANONICAL] = 'NOT_CANONICAL';

    function meaningless() {
        return new Refused('frame', 'is not what any record is sent as', NOT_CANONICAL);
    }

    function lengthOf(number) {
        var bits = 0;
        while (number >= 1) {
            number = Math.floor(number / 2);
            bits += 1;
        }
        return bits;
    }

    /* ---- Tables */

    function bytesOf(row) {
        var bytes = [], at;
        for (at = 0; at < row.length; at += 2) {
            bytes.push(parseInt(row.substr(at, 2), 16));
        }
        return bytes;
    }

    function weight(octet) {
        return ROOTS[octet % 8] * power(Math.floor(octet / 8));
    }

    /* room * part / total and what is left, bit by bit, for the product may pass 2^53. */
    function divided(part, room, total) {
        var share = 0, rest = 0, bit;
        for (bit = 16; bit >= 0; bit -= 1) {
            share *= 2;
            rest = 2 * rest + (Math.floor(room / power(bit)) % 2) * part;
            while (rest >= total) {
                rest -= total;
                share += 1;
            }
        }
        return {share: share, rest: rest};
    }

    /* Cumulative shares of 2^16 in proportion to the weights, by largest remainder. */
    function summed(weights, least) {
        var room = TOTAL - least * weights.length, total = 0, missing = TOTAL, shares = [];
        var order = [], sums = [0], at;
        for (at = 0; at < weights.length; at += 1) {
            total += weights[at];
        }
        for (at = 0; at < weights.length; at += 1) {
            shares.push(divided(weights[at], room, total));
            missing -= least + shares[at].share;
            order.push(at);
        }
        order.sort(function (one, other) {
            return shares[other].rest - shares[one].rest || one - other;
        });
        for (at = 0; at < missing; at += 1) {
            shares[order[at]].share += 1;
        }
        for (at = 0; at < weights.length; at += 1) {
            sums.push(sums[at] + least + shares[at].share);
        }
        return sums;
    }

    /* They are kept: a frame asks for the same rows again and again. */
    function cumulative(row, least) {
        var key = (least || 1) + ':' + row;
        if (own(SUMS, key) === undefined) {
            SUMS[key] = summed(bytesOf(row).map(weight), least || 1);
        }
        return SUMS[key];
    }

    function odds(logit) {
        var held = Math.min(Math.max(logit, -120), 120);
        return summed([weight(Math.max(-held, 0)), weight(Math.max(held, 0))], 1);
    }

    function aloneOf(codes) {
        return codes <= 24 ? codes : 8;
    }

    function classOf(code, codes) {
        var octave;
        if (code < aloneOf(codes)) {
            return code;
        }
        octave = lengthOf(code) - 4;
        return 8 + 2 * octave + Math.floor(code / power(octave + 2)) % 2;
    }

    /* The first code of a class, and how many it has. */
    function spanOf(found, codes) {
        var first, octave;
        if (found < aloneOf(codes)) {
            return {first: found, width: 1};
        }
        octave = Math.floor((found - 8) / 2);
        first = (8 + 4 * (found % 2)) * power(octave);
        return {first: first, width: Math.min(4 * power(octave), codes - first)};
    }

    function fold(code, centre, codes) {
        var away = code - centre, both = Math.min(centre, codes - 1 - centre);
        if (Math.abs(away) > both) {
            return both + Math.abs(away);
        }
        return away > 0 ? 2 * away - 1 : -2 * away;
    }

    function unfold(folded, centre, codes) {
        var both = Math.min(centre, codes - 1 - centre), away = folded - both;
        if (folded > 2 * both) {
            return centre + away < codes ? centre + away : centre - away;
        }
        return folded % 2 ? centre + (folded + 1) / 2 : centre - folded / 2;
    }

    /* ---- The range coder; `bytes` is null where it encodes */

    function Coder(bytes, at, bits) {
        this.source = bytes;
        this.at = at;
        this.bits = bits;
        this.read = 0;
        this.range = FIRST_RANGE;
        this.low = 0;
        this.out = [];
        this.shifts = 0;
        if (bytes) {
            this.low = this.next() * LEAST_RANGE + this.next() * 65536 + this.next() * 256 +
                this.next();
        }
    }

    /* Eight more bits of the source, zeros past its end. */
    Coder.prototype.next = function () {
        var octet = 0, bit, at;
        for (bit = 0; bit < 8; bit += 1) {
            at = this.read;
            octet = octet * 2;
            if (at < this.bits) {
                octet += (this.source[(this.at + at) >> 3] >> (7 - (this.at + at) % 8)) & 1;
            }
            this.read += 1;
        }
        return octet;
    };

    Coder.prototype.narrow = function (start, size) {
        var at = this.out.length - 1;
        if (this.source) {
            this.low -= start;
        } else {
            this.low += start;
            if (this.low >= WORD) {
                this.low -= WORD;
                this.carry(at);
            }
        }
        this.range = size;
        while (this.range < LEAST_RANGE) {
            if (this.source) {
                if (this.shifts >= Math.ceil(this.bits / 8)) {
                    throw new Refused('frame', 'ends before its values do', WRONG_LENGTH);
                }
                this.low = this.low * 256 + this.next();
            } else {
                this.out.push(Math.floor(this.low / LEAST_RANGE));
                this.low = this.low % LEAST_RANGE * 256;
            }
            this.range *= 256;
            this.shifts += 1;
        }
    };

    Coder.prototype.carry = function (at) {
        for (; at >= 0; at -= 1) {
            this.out[at] += 1;
            if (this.out[at] < 256) {
                return;
            }
            this.out[at] = 0;
        }
    };

    /* A symbol by its cumulative shares; what division rounds off belongs to the last. */
    Coder.prototype.symbol = function (sums, said) {
        var r = Math.floor(this.range / TOTAL), found = said, target, start;
        if (this.source) {
            target = Math.min(Math.floor(this.low / r), TOTAL - 1);
            found = 0;
            while (target >= sums[found + 1]) {
                found += 1;
            }
        }
        start = r * sums[found];
        this.narrow(start, (sums[found + 1] === TOTAL ? this.range : r * sums[found + 1]) - start);
        return found;
    };

    Coder.prototype.digit = function (values, said) {
        var r = Math.floor(this.range / values), found = said;
        if (this.source) {
            found = Math.floor(this.low / r);
            if (found >= values) {
                throw meaningless();
            }
        }
        this.narrow(r * found, r);
        return found;
    };

    Coder.prototype.uniform = function (n, said) {
        var shift = n > TOTAL ? lengthOf(n - 1) - 16 : 0, number, width, wanted = said || 0;
        number = this.digit(Math.ceil(n / power(shift)), Math.floor(wanted / power(shift)));
        while (shift > 0) {
            width = Math.min(shift, 16);
            shift -= width;
            number = number * power(width) +
                this.digit(power(width), Math.floor(wanted / power(shift)) % power(width));
        }
        if (number >= n) {
            throw meaningless();
        }
        return number;
    };

    Coder.prototype.spentBits = function () {
        return 8 * this.shifts + 32 - lengthOf(this.range);
    };

    /* The shortest string, as {bytes, bits}: what is after its bits is zero. */
    Coder.prototype.finish = function () {
        var end = this.low + this.range - 1, zeros = 32, above = this.low, below = end, window = 0;
        if (end < WORD) {
            for (zeros = 0; above !== below; zeros += 1) {
                above = Math.floor(above / 2);
                below = Math.floor(below / 2);
            }
            if (this.low % power(zeros) !== 0) {
                zeros -= 1;
            }
        }
        if (zeros < 32) {
            window = Math.ceil(this.low / power(zeros)) * power(zeros);
            while (zeros < 32 && Math.floor(window / power(zeros)) % 2 === 0) {
                zeros += 1;
            }
        } else if (this.low !== 0) {
            this.carry(this.out.length - 1);
        }
        return {
            bytes: this.out.concat([Math.floor(window / LEAST_RANGE),
                Math.floor(window / 65536) % 256, Math.floor(window / 256) % 256, window % 256]),
            bits: 32 + 8 * this.shifts - zeros
        };
    };

    /* ---- The walk over a message's codes. A tree is a list with one item a field: a code, null,
     * or a list of trees. */

    /* The elements of a list so far: `recent` are the latest species, the latest first, and `rank`
     * is one more than where that of the previous element stood there, 0 before any. */
    function ListHistory() {
        this.previous = null;
        this.instances = 0;
        this.rank = 0;
        this.recent = [];
        this.last = {};
        this.seenIn = {};
    }

    ListHistory.prototype.rankOf = function (species) {
        var at = this.recent.indexOf(species);
        return at < 0 ? MOST_RECENT : at;
    };

    /* Note an element; where `keeps`, the last one of a species is known when others came since. */
    ListHistory.prototype.add = function (element, species, keeps) {
        var rank = this.rankOf(species), forgotten;
        this.previous = element;
        if (species === null) {
            return;
        }
        this.rank = rank + 1;
        this.recent.splice(rank, 1);
        this.recent.unshift(species);
        this.last[species] = element;
        this.seenIn[species] = this.instances;
        forgotten = this.recent.splice(MOST_RECENT, 1);
        if (forgotten.length && !keeps) {
            delete this.last[forgotten[0]];
        }
    };

    function Walk(coder, room) {
        this.coder = coder;
        this.room = room;
        this.elapsed = 0;
        this.endsEarly = false;
        this.lists = [];
        this.histories = [];
    }

    Walk.prototype.group = function (of, here, said, known) {
        var tree = [], at, field, item;
        for (at = 0; at < of.fields.length; at += 1) {
            tree.push(null);
        }
        for (at = 0; at < of.fields.length; at += 1) {
            field = of.fields[at];
            item = said ? said[at] : null;
            if (known !== undefined && at === of.species_at) {
                tree[at] = known;
            } else if (!field.optional ||
                    this.place(field.presence, of, here, tree, item === null ? 0 : 1)) {
                tree[at] = this[field.part](field, of, here, tree, item);
            }
        }
        return tree;
    };

    Walk.prototype.value = function (field, of, here, tree, said) {
        return this.place(field.value, of, here, tree, said);
    };

    Walk.prototype.gap = function (field, of, here, tree, said) {
        var code = this.place(field.value, of, here, tree, said);
        this.elapsed += code * field.step_s;
        return code;
    };

    Walk.prototype.start = function (field, of, here, tree, said) {
        var code, hours, hour, wanted = said || 0;
        if (field.hour === null) {
            code = this.coder.uniform(field.codes, wanted);
        } else {
            hours = Math.floor(wanted / field.an_hour);
            code = this.coder.uniform(field.codes / (24 * field.an_hour), Math.floor(hours / 24));
            hour = this.place(field.hour, of, here, tree, hours % 24);
            code = (code * 24 + hour) * field.an_hour +
                this.coder.uniform(field.an_hour, wanted % field.an_hour);
        }
        if (field.known) {
            this.started = code * field.step_s;
        }
        return code;
    };

    /* A species: which of the latest of its list, or by name. */
    Walk.prototype.species = function (field, of, here, tree, said) {
        var known = SCHEMA.known, at = known.indexOf(said), rank, row, symbol, species;
        if (field.recent) {
            rank = this.place(field.recent, of, here, tree, here.rankOf(said));
            if (rank < here.recent.length) {
                return here.recent[rank];
            }
            if (rank < MOST_RECENT) {
                throw meaningless();
            }
        }
        row = field['new'][field['new'].length > 1 ? this.hourRow() : 0];
        symbol = this.coder.symbol(cumulative(row), at < 0 ? known.length : at);
        species = symbol < known.length ? known[symbol] : this.coder.uniform(field.codes, said);
        if ((symbol === known.length && known.indexOf(species) >= 0) ||
                (field.recent && here.rankOf(species) < MOST_RECENT)) {
            throw meaningless();
        }
        return species;
    };

    Walk.prototype.history = function (field) {
        var at = this.lists.indexOf(field);
        if (at < 0) {
            at = this.lists.push(field) - 1;
            this.histories.push(new ListHistory());
        }
        return this.histories[at];
    };

    Walk.prototype.list = function (field, of, here, tree, said) {
        var inner = this.history(field), rows = [], count, at;
        if (field.set.length &&
                this.coder.symbol(cumulative(field.set[0]), isSet(field, said) ? 1 : 0)) {
            rows = this.set(field, inner, said);
        } else if (field.more.length) {
            while (rows.length < field.most &&
                    (rows.length < field.least || this.more(field, rows, said))) {
                rows.push(this.element(field, inner, said, rows.length));
            }
        } else {
            count = field.least + this.place(
                field.count, of, here, tree, said ? said.length - field.least : null);
            for (at = 0; at < count; at += 1) {
                rows.push(this.element(field, inner, said, at));
            }
        }
        inner.instances += 1;
        return rows;
    };

    /* Whether there is one more element: surely, while there is much room. */
    Walk.prototype.more = function (field, rows, said) {
        var left = this.room - this.coder.spentBits(), more = !said || rows.length < said.length;
        if (left >= SURE_BITS) {
            this.endsEarly = !more;
            return more;
        }
        return this.coder.symbol(
            cumulative(field.more[Math.min(Math.max(left, 0), 15)], LEAST_MORE), more ? 1 : 0);
    };

    Walk.prototype.element = function (field, inner, said, at) {
        var row = this.group(field, inner, said ? said[at] : null);
        this.note(field, inner, row);
        return row;
    };

    Walk.prototype.note = function (field, inner, row) {
        inner.add(row, field.species_at === null ? null : row[field.species_at],
            field.set.length > 0);
    };

    function isSet(field, said) {
        var at, next = 0, known;
        for (at = 0; said && at < said.length; at += 1) {
            known = SCHEMA.known.indexOf(said[at][field.species_at]);
            if (known < next) {
                return false;
            }
            next = known + 1;
        }
        return Boolean(said);
    }

    Walk.prototype.set = function (field, inner, said) {
        var there = bytesOf(field.there[field.there.length > 1 ? this.hourRow() : 0]);
        var ages = bytesOf(field.age[0]), found = [], rows = [], at, species, logit, row, next = 0;
        for (at = 0; at < SCHEMA.known.length; at += 1) {
            species = SCHEMA.known[at];
            logit = there[at] + ages[setAge(inner, species)] - 256;
            row = said && next < said.length && said[next][field.species_at] === species;
            next += row ? 1 : 0;
            if (this.coder.symbol(odds(logit), row ? 1 : 0)) {
                found.push(species);
            }
        }
        if (found.length < field.least || found.length > field.most) {
            throw meaningless();
        }
        for (at = 0; at < found.length; at += 1) {
            row = this.group(field, inner, said ? said[at] : null, found[at]);
            this.note(field, inner, row);
            rows.push(row);
        }
        return rows;
    };

    function setAge(inner, species) {
        var seenIn = own(inner.seenIn, species);
        if (inner.instances === 0) {
            return 0;
        }
        return seenIn === undefined ? 1 + Math.min(inner.instances - 1, 3)
            : 5 + Math.min(inner.instances - 1 - seenIn, 5);
    }

    /* The code at a place: the row of its table that what is known chooses, and a centre. */
    Walk.prototype.place = function (place, of, here, tree, said) {
        var codes = place.codes, row = 0, centre, kind, at, found, span, wanted = said || 0;
        if (place.rows.length === 0) {
            return this.coder.uniform(codes, wanted);
        }
        for (at = 0; at < place.contexts.length; at += 1) {
            kind = this.context(place.contexts[at], place, of, here, tree);
            row = row * kind[0] + kind[1];
        }
        if (place.around !== 'none') {
            centre = place.around === 'centre' ? null
                : this.earlier(place.around, place, of, here, tree);
            centre = centre === null ? place.centre : Math.min(centre, codes - 1);
            wanted = fold(wanted, centre, codes);
        }
        found = this.coder.symbol(cumulative(place.rows[row]), classOf(wanted, codes));
        span = spanOf(found, codes);
        found = span.first;
        if (span.width > 1) {
            found += this.coder.uniform(span.width, wanted - span.first);
        }
        return place.around === 'none' ? found : unfold(found, centre, codes);
    };

    /* [how many kinds, which of them] */
    Walk.prototype.context = function (name, place, of, here, tree) {
        var codes = place.codes, code;
        if (name === 'hour') {
            return [8, this.hourRow()];
        }
        if (name === 'rank') {
            return [MOST_RECENT + 2, here.rank];
        }
        if (name === 'kin') {
            return [4, place.kin[SCHEMA.known.indexOf(tree[of.species_at])] || 0];
        }
        if (own(NEAR, name) !== undefined) {
            codes = place.before[NEAR[name]][1];
        }
        code = this.earlier(name, place, of, here, tree);
        if (codes <= 8) {
            return [codes + 1, code === null ? 0 : code + 1];
        }
        return [9, code === null ? 0
            : Math.floor(classOf(code, codes) * 8 / (classOf(codes - 1, codes) + 1)) + 1];
    };

    /* A code said earlier, null where there is none. */
    Walk.prototype.earlier = function (name, place, of, here, tree) {
        var element = here.previous, item;
        if (own(NEAR, name) !== undefined) {
            return tree[place.before[NEAR[name]][0]];
        }
        if (name === 'last') {
            element = own(here.last, tree[of.species_at]);
        }
        if (!element) {
            return null;
        }
        item = element[place.at];
        if (place.get === 'presence') {
            return item === null ? 0 : 1;
        }
        if (place.get === 'count') {
            return item === null ? null : item.length - of.fields[place.at].least;
        }
        return item;
    };

    Walk.prototype.hourRow = function () {
        if (this.started === undefined) {
            return 4;
        }
        return Math.floor(Math.floor((this.started + this.elapsed) / 3600) % 24 * 8 / 24);
    };

    /* ---- Trees and the bits of fixed coding */

    function widthOf(field) {
        return field.kind === 'flags' ? field.flags.length : field.bits;
    }

    function treeOf(fields, from) {
        var present = [], tree = [], rows, count, at;
        for (at = 0; at < fields.length; at += 1) {
            present.push(fields[at].optional ? take(from, 1, '') === 1 : true);
        }
        for (at = 0; at < fields.length; at += 1) {
            if (!present[at]) {
                tree.push(null);
            } else if (fields[at].kind === 'list') {
                rows = [];
                for (count = fields[at].least + take(from, fields[at].bits, ''); count > 0;
                    count -= 1) {
                    rows.push(treeOf(fields[at].fields, from));
                }
                tree.push(rows);
            } else {
                tree.push(take(from, widthOf(fields[at]), ''));
            }
        }
        return tree;
    }

    function putTree(fields, tree, out) {
        var at, row;
        for (at = 0; at < fields.length; at += 1) {
            if (fields[at].optional) {
                put(out, tree[at] === null ? 0 : 1, 1);
            }
        }
        for (at = 0; at < fields.length; at += 1) {
            if (tree[at] !== null && fields[at].kind === 'list') {
                put(out, tree[at].length - fields[at].least, fields[at].bits);
                for (row = 0; row < tree[at].length; row += 1) {
                    putTree(fields[at].fields, tree[at][row], out);
                }
            } else if (tree[at] !== null) {
                put(out, tree[at], widthOf(fields[at]));
            }
        }
    }

    /* ---- Payloads: modelled, or plain after six ones where that takes fewer bytes */

    function hasTail(message) {
        return message.fields.some(function (field) {
            return field.kind === 'list' && field.more.length > 0;
        });
    }

    /* The string of bits for a room, and whether it is the one to send there. */
    function coded(message, tree, room) {
        var coder = new Coder(null, 0, 0), walk = new Walk(coder, room), string;
        walk.group(message, new ListHistory(), tree);
        string = coder.finish();
        string.fits = string.bits <= room && !walk.endsEarly;
        return string;
    }

    function shortest(message, fixed, header) {
        var tail = hasTail(message), most = Math.ceil((header + PLAIN_BITS + fixed.bits) / 8);
        var tree = treeOf(message.fields, {bytes: fixed.bytes, at: 0}), octets = most, string, room;
        var plain = {bytes: [], bits: 0}, from = {bytes: fixed.bytes, at: 0}, at;
        if (tail) {
            octets = Math.ceil((header + coded(message, tree, Infinity).bits) / 8);
        }
        for (; octets <= most; octets += 1) {
            room = 8 * octets - header;
            string = coded(message, tree, room);
            if (string.fits) {
                if (tail) {
                    string.bits = Math.max(string.bits, room - 7);
                }
                while (8 * string.bytes.length < string.bits) {
                    string.bytes.push(0);
                }
                return string;
            }
        }
        put(plain, 63, PLAIN_BITS);
        for (at = 0; at < fixed.bits; at += 1) {
            put(plain, take(from, 1, ''), 1);
        }
        return plain;
    }

    function writePayload(out, message, values) {
        var fixed = {bytes: [], bits: 0}, string, from, octets, at;
        writeGroup(fixed, message.fields, values, message.name);
        string = shortest(message, fixed, out.bits);
        from = {bytes: string.bytes, at: 0};
        for (at = 0; at < string.bits; at += 1) {
            put(out, take(from, 1, ''), 1);
        }
        octets = Math.ceil((out.bits + SCHEMA.check_bits) / 8);
        if (octets > message.most_bytes) {
            throw new Refused(message.name, 'takes ' + octets + ' bytes: say fewer list elements');
        }
    }

    function readPayload(from, message, said) {
        var header = from.at, bits = 8 * from.bytes.length - header, values, string, at, bit;
        var fixed = {bytes: [], bits: 0}, plain, walk;
        if (bits >= PLAIN_BITS && take({bytes: from.bytes, at: header}, PLAIN_BITS, '') === 63) {
            plain = {bytes: from.bytes, at: header + PLAIN_BITS};
            values = readGroup(plain, message.fields, message.name, said);
            finish({bytes: plain.bytes, at: plain.at});
            plain.at = header + PLAIN_BITS;
            putTree(message.fields, treeOf(message.fields, plain), fixed);
        } else {
            walk = new Walk(new Coder(from.bytes, header, bits), bits);
            putTree(message.fields, walk.group(message, new ListHistory(), null), fixed);
            values = readGroup({bytes: fixed.bytes, at: 0}, message.fields, message.name, said);
        }
        /* Each record has one payload; whatever else reads as it is refused. */
        string = shortest(message, fixed, header);
        if (string.bits > bits || bits - string.bits > 7) {
            throw meaningless();
        }
        plain = {bytes: string.bytes, at: 0};
        for (at = 0; at < bits; at += 1) {
            bit = at < string.bits ? take(plain, 1, '') : 0;
            if (take(from, 1, '') !== bit) {
                throw meaningless();
            }
        }
        return values;
    }

