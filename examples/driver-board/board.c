/* A driver board: 24 one-way channels of an STM32F405 (Cortex-M4), one serial line.
 *
 * Everything that decides is in coil_link; this file moves its decisions to pins. Registers are
 * those of the maker's reference manual RM0090, sections named at each place; pins and their
 * alternate functions those of the data sheet, table "Alternate function mapping".
 *
 * -DTRACE builds it for an emulator that knows serial lines, four of the timers and no clock tree:
 * it then tells on UART5 what it applied. */
#include "limits_store.h"

/* What you may want to change; the display file must say the same. */
#ifndef STEPS
#define STEPS 3500       /* 84 MHz / 3500 is 24 kHz, above what can be heard */
#endif
#ifndef HOLD_MS
#define HOLD_MS 250      /* all off this long after the last frame */
#endif
#ifndef LINE_BAUD
#define LINE_BAUD 1000000
#endif
#ifndef CRYSTAL_MHZ
#define CRYSTAL_MHZ 8
#endif

#define TIMER_HZ 84000000u
#define LINE_HZ 42000000u /* clock of USART3 and UART5 */
#define PINS 24
#if COIL_CHANNELS > PINS && !defined(SIZE_ONLY)
#error "this board drives 24 channels; for more, add outputs here"
#endif
#if STEPS < 2 || STEPS > 65535
#error "STEPS must be 2 to 65535"
#endif

#define REG(address) (*(volatile uint32_t *)(uintptr_t)(address))

/* RM0090, "Memory map" and the register map at the end of each chapter. */
#define RCC(offset) REG(0x40023800u + (offset))
#define FLASH_UNIT(offset) REG(0x40023C00u + (offset))
#define GPIO(port, offset) REG(0x40020000u + 0x400u * (port) + (offset))
#define LINE(offset) REG(0x40004800u + (offset))  /* USART3 */
#define TELL(offset) REG(0x40005000u + (offset))  /* UART5 */
#define DOG(offset) REG(0x40003000u + (offset))   /* independent watchdog */
#define SYSTICK(offset) REG(0xE000E010u + (offset))
#define INTERRUPT_ON(n) (REG(0xE000E100u + 4u * ((n) / 32u)) = 1u << ((n) % 32u))

enum { A, B, C };
enum { OUTPUT = 1, ALTERNATE = 2 };
#define KEEP_ALIVE 12 /* PB12 */

static const struct {
    uint32_t timer;    /* base address */
    uint8_t function;  /* of its pins */
    uint8_t divider;   /* to count at TIMER_HZ */
    uint8_t pins[4][2];
} timers[PINS / 4] = {
    {0x40000000u, 1, 1, {{A, 5}, {B, 3}, {B, 10}, {B, 11}}}, /* TIM2: channels 0 to 3 */
    {0x40000400u, 2, 1, {{A, 6}, {A, 7}, {B, 0}, {B, 1}}},   /* TIM3: 4 to 7 */
    {0x40000800u, 2, 1, {{B, 6}, {B, 7}, {B, 8}, {B, 9}}},   /* TIM4: 8 to 11 */
    {0x40000C00u, 2, 1, {{A, 0}, {A, 1}, {A, 2}, {A, 3}}},   /* TIM5: 12 to 15 */
    {0x40010000u, 1, 2, {{A, 8}, {A, 9}, {A, 10}, {A, 11}}}, /* TIM1: 16 to 19 */
    {0x40010400u, 3, 2, {{C, 6}, {C, 7}, {C, 8}, {C, 9}}},   /* TIM8: 20 to 23 */
};

static coil_link link;
static volatile uint32_t milliseconds;

/* What the line brought and nobody has read yet: about 10 ms at 1 Mbaud. */
static uint8_t ring[1024];
static volatile uint32_t ring_put;
static uint32_t ring_get;

void milliseconds_tick(void);
void line_interrupt(void);

void milliseconds_tick(void)
{
    milliseconds++;
}

/* Reading the status and then the data also clears an overrun; what was lost, the check tells. */
void line_interrupt(void)
{
    if ((LINE(0x00) & (1u << 5 | 1u << 3)) != 0) {
        ring[ring_put % sizeof ring] = (uint8_t)LINE(0x04);
        ring_put++;
    }
}

/* "IWDG": its own 32 kHz clock (17 to 47 kHz), so the times are nominal. Once on, it cannot be
 * turned off. */
static void dog_within(uint32_t prescaler, uint32_t reload)
{
    DOG(0x00) = 0x5555;
    DOG(0x04) = prescaler;
    DOG(0x08) = reload;
    while (DOG(0x0C) != 0) {
    }
    DOG(0x00) = 0xAAAA;
}

static void dog_on(void)
{
    DOG(0x00) = 0xCCCC;
    dog_within(2, 100); /* 32 kHz / 16 / 100: 50 ms */
}

/* "RCC": crystal to 168 MHz, the timers at 84 MHz (168 for TIM1 and TIM8), the lines at 42 MHz.
 * Where the crystal does not start, this never ends, all is off, and the watchdog tries again. */
static void clock_on(void)
{
#ifndef TRACE
    FLASH_UNIT(0x00) = 1u << 9 | 1u << 8 | 5; /* five wait states; no data cache, see store() */
    RCC(0x00) |= 1u << 16;
    while ((RCC(0x00) & 1u << 17) == 0) {
    }
    RCC(0x04) = 7u << 24 | 1u << 22 | 336u << 6 | CRYSTAL_MHZ;
    RCC(0x08) = 4u << 13 | 5u << 10;
    RCC(0x00) |= 1u << 24;
    while ((RCC(0x00) & 1u << 25) == 0) {
    }
    RCC(0x08) |= 2;
    while ((RCC(0x08) & 3u << 2) != 2u << 2) {
    }
    RCC(0x00) |= 1u << 19; /* "Clock security system": a crystal that stops is an NMI, see startup.c */
#endif
    RCC(0x30) |= 7;                                                  /* ports A, B, C */
    RCC(0x40) |= 1u << 0 | 1u << 1 | 1u << 2 | 1u << 3 | 1u << 18 | 1u << 20;
    RCC(0x44) |= 1u << 0 | 1u << 1;
    (void)RCC(0x44); /* the units wake a little later */
    SYSTICK(0x04) = 168000 - 1;
    SYSTICK(0x08) = 0;
    SYSTICK(0x00) = 7;
}

/* "GPIO": mode, and alternate function, of one pin. */
static void pin_is(uint32_t port, uint32_t pin, uint32_t mode, uint32_t function)
{
    uint32_t shift = pin % 8 * 4, offset = 0x20 + pin / 8 * 4;
    GPIO(port, offset) = (GPIO(port, offset) & ~(15u << shift)) | function << shift;
    GPIO(port, 0x0C) &= ~(3u << pin * 2); /* no pull: PB3 has none then, too */
    GPIO(port, 0x00) = (GPIO(port, 0x00) & ~(3u << pin * 2)) | mode << pin * 2;
}

static volatile uint32_t *compare(size_t channel)
{
    return &REG(timers[channel / 4].timer + 0x34 + 4 * (channel % 4));
}

/* "TIM": PWM mode 1, on while the count is below the compare value, which is taken over at the end
 * of a period. A compare value of STEPS is above the highest count: always on. The six timers
 * start a sixth of a period apart, so that their coils do not all load the supply at once. */
static void timers_on(void)
{
    for (uint32_t t = 0; t < PINS / 4; t++) {
        uint32_t timer = timers[t].timer;
        REG(timer + 0x28) = timers[t].divider - 1u;
        REG(timer + 0x2C) = STEPS - 1;
        REG(timer + 0x18) = 0x6868;
        REG(timer + 0x1C) = 0x6868;
        for (uint32_t i = 0; i < 4; i++) {
            REG(timer + 0x34 + 4 * i) = 0;
        }
        REG(timer + 0x14) = 1; /* take all that over now */
        REG(timer + 0x24) = t * STEPS / (PINS / 4);
        REG(timer + 0x20) = 0x1111;
        if (timers[t].divider == 2) {
            REG(timer + 0x44) = 1u << 15; /* TIM1 and TIM8 ask for this before they drive pins */
        }
        for (uint32_t i = 0; i < 4; i++) {
            pin_is(timers[t].pins[i][0], timers[t].pins[i][1], ALTERNATE, timers[t].function);
        }
    }
    for (uint32_t t = 0; t < PINS / 4; t++) {
        REG(timers[t].timer) = 1u << 7 | 1;
    }
}

/* "USART": 8N1. */
static void line_on(void)
{
    LINE(0x08) = (LINE_HZ + LINE_BAUD / 2) / LINE_BAUD;
    LINE(0x0C) = 1u << 13 | 1u << 5 | 1u << 3 | 1u << 2;
    pin_is(C, 10, ALTERNATE, 7);
    pin_is(C, 11, ALTERNATE, 7);
    GPIO(C, 0x0C) |= 1u << 22; /* an open line rests high */
    INTERRUPT_ON(39u);
}

#ifdef TRACE
static void tell(uint32_t number, char after)
{
    for (uint32_t shift = 32; shift > 0; shift -= 4) {
        TELL(0x04) = (uint32_t)"0123456789abcdef"[number >> (shift - 4) & 15];
    }
    TELL(0x04) = (uint32_t)after;
}

/* A line for each change: on or off, frame, milliseconds, and all codes, read back from the
 * compare registers where the emulator has them (TIM2 to TIM5). The emulator's line is never
 * busy. */
static void trace(void)
{
    TELL(0x0C) = 1u << 13 | 1u << 3;
    TELL(0x04) = link.on ? 'F' : 'O';
    TELL(0x04) = ' ';
    tell(link.frame, ' ');
    tell(link.now_ms, ' ');
    for (size_t i = 0; i < COIL_CHANNELS && i < PINS; i++) {
        tell(i < 16 ? *compare(i) : (uint32_t)link.duty[i], i == COIL_CHANNELS - 1 ? '\n' : ' ');
    }
}
#endif

static void apply(void)
{
    for (size_t i = 0; i < COIL_CHANNELS && i < PINS; i++) {
        *compare(i) = link.on ? (uint32_t)link.duty[i] : 0;
    }
#ifdef TRACE
    trace();
#endif
}

/* ---- Limits in flash: sectors 1 and 2 ---- */

extern const limits_record limits_a, limits_b;

/* "Flash status register": refused or broken, by protection, alignment, width or order. Bits are
 * cleared by writing them. */
#define FLASH_ERRORS 0xF2u

/* Waits for the unit; whether it had nothing to say against what it did. */
static bool flash_wait(void)
{
    while ((FLASH_UNIT(0x0C) & 1u << 16) != 0) {
    }
    return (FLASH_UNIT(0x0C) & FLASH_ERRORS) == 0;
}

/* "Embedded Flash memory", erase and program sequences, 32 bits at a time (2.7 V or more). The
 * processor stands still while the sector is erased, up to a second; all coils are off, and the
 * watchdog is told to wait. The data cache is never on, so what is read back is what is there. */
static bool store(const coil_limits *limits)
{
    static limits_record record;
    const limits_record *newest = limits_newest(&limits_a, &limits_b, STEPS);
    const limits_record *place = newest == &limits_a ? &limits_b : &limits_a;
    limits_seal(&record, limits, STEPS, newest);

    dog_within(6, 500); /* 32 kHz / 256 / 500: 4 s */
    FLASH_UNIT(0x04) = 0x45670123;
    FLASH_UNIT(0x04) = 0xCDEF89AB;
    (void)flash_wait();
    FLASH_UNIT(0x0C) = FLASH_ERRORS; /* of whoever was here before */
    uint32_t sector = place == &limits_a ? 1 : 2;
    FLASH_UNIT(0x10) = 2u << 8 | sector << 3 | 1u << 1;
    FLASH_UNIT(0x10) |= 1u << 16;
    bool well = flash_wait();
    FLASH_UNIT(0x10) = 2u << 8 | 1u << 0;
    const uint8_t *from = (const uint8_t *)&record;
    for (uint32_t i = 0; well && i < sizeof record; i += 4) {
        REG((uintptr_t)place + i) = coil_get32(from + i);
        well = flash_wait();
    }
    FLASH_UNIT(0x10) = 1u << 31;
    dog_within(2, 100);
    return well && limits_newest(place, place, STEPS) != NULL && place->check == record.check;
}

static void begin(void)
{
    static const coil_config config = {
        .steps = STEPS,
        .hold_ms = HOLD_MS,
        .pwm_hz = TIMER_HZ / STEPS,
        .keeps_limits = true,
    };
    const limits_record *newest = limits_newest(&limits_a, &limits_b, STEPS);
    coil_link_init(&link, &config, newest == NULL ? NULL : &newest->limits);
}

int main(void)
{
    dog_on();
    clock_on();
    begin();
    timers_on();
    pin_is(B, KEEP_ALIVE, OUTPUT, 0);
    line_on();
    uint32_t seen = milliseconds;
    bool alive = false;
    for (;;) {
        uint32_t now = milliseconds;
        if (now != seen) {
            /* Only a running clock and a running loop together keep dog and outputs alive. */
            seen = now;
            if (coil_link_tick(&link, now)) {
                apply();
            }
            DOG(0x00) = 0xAAAA;
            if (link.on) {
                alive = !alive;
                GPIO(B, 0x18) = 1u << (alive ? KEEP_ALIVE : KEEP_ALIVE + 16);
            }
        }
        /* One byte a turn: a turn is far shorter than a byte on the line. */
        if (ring_get != ring_put && coil_link_feed(&link, ring[ring_get++ % sizeof ring])) {
            apply();
        }
        if ((LINE(0x00) & 1u << 7) != 0) {
            int byte = coil_link_next(&link);
            if (byte >= 0) {
                LINE(0x04) = (uint32_t)byte;
            }
        }
        if (link.store_due) {
            coil_link_stored(&link, store(&link.base));
        }
    }
}
