/* Bytes between one writer and one reader, of which either may be an interrupt. Holds up to 255 bytes; no lock is needed
 * where a byte is read and written in one access. */
#ifndef RING_H
#define RING_H

#include <stdbool.h>
#include <stdint.h>

struct ring {
    volatile uint8_t head; /* where the writer puts the next byte */
    volatile uint8_t tail; /* where the reader takes the next byte */
    volatile uint8_t bytes[256];
};

static inline uint8_t ring_room(const struct ring *ring)
{
    return (uint8_t)(ring->tail - ring->head - 1);
}

static inline bool ring_empty(const struct ring *ring)
{
    return ring->head == ring->tail;
}

/* A byte too many is lost. */
static inline void ring_put(struct ring *ring, uint8_t byte)
{
    if (ring_room(ring)) {
        ring->bytes[ring->head] = byte;
        ring->head = (uint8_t)(ring->head + 1);
    }
}

static inline bool ring_take(struct ring *ring, uint8_t *byte)
{
    if (ring_empty(ring))
        return false;
    *byte = ring->bytes[ring->tail];
    ring->tail = (uint8_t)(ring->tail + 1);
    return true;
}

#endif
