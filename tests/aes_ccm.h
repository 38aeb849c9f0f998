/* AES-CCM as NIST SP 800-38C and RFC 3610 have it, with a key of 16 octets and a nonce of 13.
 *
 * For the tests of emitted C alone: small, slow, and open to whoever measures its time.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

static uint8_t substitute[256];

static uint8_t times_x(uint8_t a)
{
    return (uint8_t)(a << 1 ^ (a & 0x80u ? 0x1Bu : 0u));
}

/* Each number of GF(256) beside its inverse: the powers of 3 upwards and downwards. */
static void make_substitutes(void)
{
    uint8_t up = 1, down = 1;

    do {
        up = (uint8_t)(up ^ times_x(up));
        down = (uint8_t)(down ^ down << 1);
        down = (uint8_t)(down ^ down << 2);
        down = (uint8_t)(down ^ down << 4);
        down = (uint8_t)(down ^ (down & 0x80u ? 0x09u : 0u));
        uint8_t mixed = down;
        for (int turn = 1; turn < 5; turn++) {
            mixed = (uint8_t)(mixed ^ (down << turn | down >> (8 - turn)));
        }
        substitute[up] = mixed ^ 0x63u;
    } while (up != 1);
    substitute[0] = 0x63u;
}

/* One block, in place. */
static void aes(const uint8_t key[16], uint8_t block[16])
{
    uint8_t round_key[16], turned[16], constant = 1;

    if (substitute[0] == 0) {
        make_substitutes();
    }
    memcpy(round_key, key, 16);
    for (int round = 0; round < 11; round++) {
        if (round > 0) {
            for (int at = 0; at < 16; at++) {
                turned[at] = substitute[block[(at + at % 4 * 4) % 16]];
            }
            for (int at = 0; at < 16 && round < 10; at += 4) {
                const uint8_t first = turned[at];
                const uint8_t all = first ^ turned[at + 1] ^ turned[at + 2] ^ turned[at + 3];
                for (int row = 0; row < 4; row++) {
                    const uint8_t next = row < 3 ? turned[at + row + 1] : first;
                    turned[at + row] ^= all ^ times_x(turned[at + row] ^ next);
                }
            }
            memcpy(block, turned, 16);
            for (int at = 0; at < 16; at++) {
                const uint8_t other =
                    at < 4 ? substitute[round_key[12 + (at + 1) % 4]] : round_key[at - 4];
                round_key[at] ^= other ^ (at == 0 ? constant : 0u);
            }
            constant = times_x(constant);
        }
        for (int at = 0; at < 16; at++) {
            block[at] ^= round_key[at];
        }
    }
}

/* Add octets to a running CBC-MAC, from `at` in its block; where the next goes. */
static size_t mac_add(
    const uint8_t key[16], uint8_t mac[16], size_t at, const uint8_t *octets, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        mac[at++] ^= octets[i];
        if (at == 16) {
            aes(key, mac);
            at = 0;
        }
    }
    return at;
}

static void counter_block(const uint8_t key[16], const uint8_t nonce[13], size_t n, uint8_t b[16])
{
    b[0] = 1;
    memcpy(b + 1, nonce, 13);
    b[14] = (uint8_t)(n >> 8);
    b[15] = (uint8_t)n;
    aes(key, b);
}

static void exclusive_or(
    const uint8_t key[16], const uint8_t nonce[13], uint8_t *octets, size_t length)
{
    uint8_t stream[16];

    for (size_t i = 0; i < length; i++) {
        if (i % 16 == 0) {
            counter_block(key, nonce, i / 16 + 1, stream);
        }
        octets[i] ^= stream[i % 16];
    }
}

/* Encrypt or decrypt in place; the tag stands behind the octets. False where it is wrong. */
static bool ccm(
    const uint8_t key[16], size_t tag_length, const uint8_t nonce[13], const uint8_t *known,
    size_t known_length, uint8_t *octets, size_t length, bool sealing)
{
    const uint8_t size[2] = {(uint8_t)(known_length >> 8), (uint8_t)known_length};
    uint8_t mac[16], stream[16], wrong = 0;
    size_t at;

    if (!sealing) {
        exclusive_or(key, nonce, octets, length);
    }
    mac[0] = (uint8_t)(64 + 8 * ((tag_length - 2) / 2) + 1);
    memcpy(mac + 1, nonce, 13);
    mac[14] = (uint8_t)(length >> 8);
    mac[15] = (uint8_t)length;
    aes(key, mac);
    at = mac_add(key, mac, 0, size, 2);
    if (mac_add(key, mac, at, known, known_length) != 0) {
        aes(key, mac);
    }
    if (mac_add(key, mac, 0, octets, length) != 0) {
        aes(key, mac);
    }
    counter_block(key, nonce, 0, stream);
    if (sealing) {
        exclusive_or(key, nonce, octets, length);
    }
    for (size_t i = 0; i < tag_length; i++) {
        if (sealing) {
            octets[length + i] = mac[i] ^ stream[i];
        }
        wrong |= (uint8_t)(octets[length + i] ^ mac[i] ^ stream[i]);
    }
    return wrong == 0;
}
