"""What every C89 program has in common: machine, settings, channel, requests; 40 columns at most."""

from typing import Final

ABOUT: Final = """\
Asks a headrace gateway and shows the
records. Strict C89, for example:
  cc65 --standard c89 -O FILE.c
  sdcc -mz80 --std-c89 -c FILE.c
"""

MACHINE: Final = """\
/* ---- change this for your machine,
   or name a header with these macros:
   -DCHANNEL='"mine.h"' */
#ifdef CHANNEL
#include CHANNEL
#else
#include <stdio.h>
#define STATUS \\
  (*(volatile unsigned char *)0xC000)
#define DATA \\
  (*(volatile unsigned char *)0xC001)
/* with ports, as sdcc has them:
   __sfr __at 0x10 STATUS;
   __sfr __at 0x11 DATA; */
#define CAN_GET (STATUS & 1)
#define CAN_PUT (STATUS & 2)
#define GET() DATA
#define PUT(c) (DATA = (c))
#define OPEN() /* set rate, 8N1 */
#define SHOW(c) putchar(c)
/* looks at CAN_GET in about 1/4 s */
#define LOOKS 2000
#endif
"""

SETTINGS: Final = """\
/* ---- what was agreed on */
#define WINDOW {window} /* lines, or 0 */
#define CHECK {check} /* hex digits a line */
#define END_CHAR {end} /* -1: counted */
#define NO_CHAR {skipped} /* dropped */
#define CHANGES {changes} /* 1: by TELL */
#define TRIES 9
/* quarters of a second of silence
   within a line, and after one */
#define PAUSE {pause}
#define QUIET {quiet}
"""

FIELDS: Final = """\
/* name, first column from 0, columns */
static const struct {
  const char *name;
  unsigned char start, width;
} fields[] = {"""

CHANNEL: Final = """\
static unsigned char line[256];
static unsigned length;
static unsigned width;
#if WINDOW
static unsigned long sofar;
#endif
#if CHECK
static unsigned patience;
static unsigned tries;
static unsigned sum;
static unsigned long next;
/* 0 first page, 1 in it, 2 between */
static unsigned char begun;
static unsigned char asked;
#if WINDOW != 1
/* after MORE, AGAIN may bring the old
   page: its first record tells */
static unsigned char doubt, fresh;
static unsigned first;
#endif
#endif

/* ---- the channel */
/* -1: silence, if lines are checked */
static int channel_get(void)
{
#if CHECK
  unsigned looks, quarters = patience;
  while (quarters--)
    for (looks = 0; looks < LOOKS;
         ++looks)
      if (CAN_GET) {
        patience = PAUSE;
        return GET()@MASK@;
      }
  return -1;
#else
  while (!CAN_GET)
    ;
  return GET()@MASK@;
#endif
}

static void channel_put(unsigned char c)
{
  while (!CAN_PUT)
    ;
  PUT(c);
}
"""

ADDING: Final = """\
/* ---- the check's digits */
static void add(unsigned char c)
{
#if CHECK == 2
  sum = (sum + c) & 0xFF;
#else /* CRC-16/XMODEM */
  unsigned bit;
  sum ^= (unsigned)c << 8;
  for (bit = 0; bit < 8; ++bit)
    if (sum & 0x8000)
      sum = (sum << 1) ^ 0x1021;
    else
      sum <<= 1;
  sum &= 0xFFFF;
#endif
}

static unsigned char digit(unsigned at)
{
  unsigned value = (sum >> at) & 15;
  value += value < 10 ? 48 : @A@ - 10;
  return (unsigned char)value;
}

static int right(void)
{
  unsigned at, bits;
  unsigned end = length - CHECK;
  sum = 0;
  for (at = 0; at < end; ++at)
    add(line[at]);
  for (bits = CHECK * 4; bits; ++at) {
    bits -= 4;
    if (line[at] != digit(bits))
      return 0;
  }
  return 1;
}

/* until nothing more comes */
static void drain(void)
{
  do
    patience = QUIET;
  while (channel_get() >= 0);
}
"""

LINES: Final = """\
static void put_char(char c)
{
#if CHECK
  add((unsigned char)c);
#endif
  channel_put((unsigned char)c);
}

static void put_text(const char *text)
{
  while (*text)
    put_char(*text++);
}

static void put_end(void)
{
#if WINDOW
  sofar = 1; /* reply's first line */
#endif
#if CHECK
  patience = 160; /* 40 s */
#endif
  channel_put(13);
}

static void put_ask(void)
{
@ASK@}

#if CHECK
static void put_again(void)
{
  unsigned long unit = 10000;
  put_text("AGAIN");
  if (begun != 1)
    return;
  put_char(' '); /* from record n on */
  for (; unit; unit /= 10)
    put_char((char)
      (48 + next / unit % 10));
}
#endif

/* 0: the question, 1: MORE, 2: AGAIN */
static void put_request(
  unsigned char what)
{
#if CHECK
  unsigned bits = CHECK * 4;
  asked = what;
#if WINDOW != 1
  doubt = what == 2 && begun == 2;
#endif
  sum = 0;
  if (what == 2)
    put_again();
  else
#endif
  if (what == 1)
    put_text("MORE");
  else
    put_ask();
#if CHECK
  channel_put(' ');
  channel_put('*');
  while (bits) {
    bits -= 4;
    channel_put(digit(bits));
  }
#endif
  put_end();
}

/* before a record: empty line if due */
static void next_line(void)
{
#if WINDOW
  if (sofar == WINDOW)
    put_end();
  else
    ++sofar;
#endif
}
"""
