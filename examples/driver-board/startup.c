/* From reset to main, and the two routines the compiler may call. */
#include <stddef.h>
#include <stdint.h>

extern uint32_t data_in_flash[], data_begin[], data_end[], bss_begin[], bss_end[], stack_top[];

int main(void);
void milliseconds_tick(void);
void line_interrupt(void);

void reset(void);
static void stop(void);
void *memcpy(void *to, const void *from, size_t count);
void *memset(void *to, int byte, size_t count);

void reset(void)
{
    uint32_t *from = data_in_flash;
    for (uint32_t *to = data_begin; to < data_end; to++, from++) {
        *to = *from;
    }
    for (uint32_t *to = bss_begin; to < bss_end; to++) {
        *to = 0;
    }
    (void)main();
    stop();
}

/* A fault, a crystal that stopped, or an interrupt nobody asked for: stand still. The output enable is then no longer kept
 * alive and falls, and the independent watchdog resets the board. */
static void stop(void)
{
    for (;;) {
    }
}

/* RM0090, "Vector table": 16 of the core, then one for each interrupt of the part. */
#define LINE_INTERRUPT 39 /* USART3 */

typedef union {
    void (*run)(void);
    uint32_t *stack;
} vector;

__attribute__((section(".vectors"), used)) static const vector vectors[16 + 82] = {
    [0] = {.stack = stack_top},
    [1] = {.run = reset},
    [2] = {.run = stop},
    [3] = {.run = stop},
    [4] = {.run = stop},
    [5] = {.run = stop},
    [6] = {.run = stop},
    [11] = {.run = stop},
    [12] = {.run = stop},
    [14] = {.run = stop},
    [15] = {.run = milliseconds_tick},
    [16 + LINE_INTERRUPT] = {.run = line_interrupt},
};

/* Byte by byte: speed is no matter here, and the compiler must not turn them into themselves. */
__attribute__((optimize("no-tree-loop-distribute-patterns"))) void *memcpy(void *to,
                                                                           const void *from,
                                                                           size_t count)
{
    uint8_t *put = to;
    const uint8_t *get = from;
    for (size_t i = 0; i < count; i++) {
        put[i] = get[i];
    }
    return to;
}

__attribute__((optimize("no-tree-loop-distribute-patterns"))) void *memset(void *to, int byte,
                                                                           size_t count)
{
    uint8_t *put = to;
    for (size_t i = 0; i < count; i++) {
        put[i] = (uint8_t)byte;
    }
    return to;
}
