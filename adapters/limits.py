"""Every limit of the house, by name: one place to read them, one place to change them.

Sizes are in bytes, times in seconds, unless a name says otherwise.
"""

from typing import Final

# The line (CONTRACT section 1)
LINE_BYTES: Final = 255  # a request before its end
DATA_BYTES: Final = 1 << 20  # one data line of a TELL; one of a STORE has no limit
PIECE_BYTES: Final = 4_096  # of a data line, handed on before its end has come
PIPELINE_BYTES: Final = 16_384  # unread input kept for one client before reading stops
READER_STEPS: Final = 2_000  # through bytes that make no event, before other clients have their turn

# Replies (CONTRACT section 2)
PAGE_RECORDS: Final = 99_999  # what five digits can count
RECORD_WIDTH: Final = 255  # what a classic BASIC string holds
PACE: Final = 100_000  # characters a second that a client may ask for; beyond it is as fast as the link
GAP: Final = 10_000  # milliseconds after each line: a client that needs more wants a window
PACE_LATE_SECONDS: Final = 1.0  # that a paced reply may be behind its time and still make up for
KEPT_BYTES: Final = 256 << 20  # that all sessions keep of replies and listings; longest unused out first
KEPT_LITTLE_BYTES: Final = 32_768  # of one session that is not looked at for that
COLUMNS_MIN: Final = 16  # narrower than a status line makes no sense
TRANSFER_BYTES: Final = 4 << 20  # all data lines of one TELL
LISTING_COLUMNS: Final = 40  # of a generated program's lines, and of what it prints

# Charsets (CONTRACT section 5)
TABLE_BYTES: Final = 1 << 18  # one mapping file; the longest published ones are a quarter of it
TABLE_FAULTS: Final = 5  # mistakes of one mapping file before the rest of it is left unread
CHARSETS: Final = 128  # that are kept ready, at some 32 KB each

# A simulated serial line
SERIAL_BAUD: Final = 4_000_000  # bits a second
SERIAL_BAUD_MIN: Final = 10  # slower than any teleprinter
SERIAL_MEGAHERTZ: Final = 10_000  # of a client's processor
SERIAL_SPARE: Final = 10  # times as slow again as told, that a machine may be
SERIAL_BUFFER_BYTES: Final = 1 << 20  # of a UART, a buffer or an adapter
SERIAL_HELD_BYTES: Final = 768  # between gateway and line: METERED_BYTES, and 256 of an adapter
SERIAL_WORK_SECONDS: Final = 60  # for one byte or record, or one way through the link
SERIAL_REPLY_BYTES: Final = 1 << 18  # of one simulated reply: advice about it takes some ten seconds

# Far documents
BODY_BYTES: Final = 16 << 20  # one document as it arrives
EXPANDED_BYTES: Final = 32 << 20  # the same, decompressed
REDIRECTS: Final = 8  # hops before a chain counts as a loop
HEADER_BYTES: Final = 65_536  # one response's header section
INTERIM_BYTES: Final = 262_144  # of interim answers (1xx) before a final one, its header section with them
RETRY_SECONDS: Final = 86_400  # the longest wait that a reply tells
RETRY_DEFAULT_SECONDS: Final = 60  # told where a server asked too often names no time

# Connections to far servers
CALLS: Final = 64  # exchanges at one time; a longer pool costs more per call than it gains
CALLS_PER_ORIGIN: Final = 16  # of them with one origin, so that a stalled server leaves room for others
CONNECT_SECONDS: Final = 3.0  # one address, while another one is left to try
ADDRESSES: Final = 8  # addresses of one name that are tried
IDLE_CONNECTIONS: Final = 32  # kept open by one pool
IDLE_SECONDS: Final = 15.0  # before an unused connection is closed; many servers close sooner
LOGINS_TAKEN: Final = 1_000  # logins that are remembered as taken by their far servers
POOLS: Final = 32  # pools kept, one for each pair of trust anchors and address rule
READ_AHEAD_BYTES: Final = 262_144  # received from one connection and not yet asked for
DRAIN_BYTES: Final = 65_536  # of an unwanted body, read so that its connection can be kept
DRAIN_SECONDS: Final = 0.25  # spent on reading one
EXPAND_STEP_BYTES: Final = 262_144  # expanded in one go
GZIP_MEMBERS: Final = 10_000  # of one body; an empty one takes 20 bytes and a fresh decompressor

# Far servers that keep everybody waiting
BREAKER_FAILURES: Final = 5  # slow ones in a row, before a far server is left alone
BREAKER_SLOW_SECONDS: Final = 1.0  # that a failure took at least; who fails at once keeps nobody waiting
BREAKER_REST_SECONDS: Final = 5.0  # that it is left alone first; each failed try behind that doubles it
BREAKER_REST_MOST_SECONDS: Final = 60.0  # and never longer
BREAKERS: Final = 10_000  # far servers of which that is remembered, longest not asked out first

# Files and folders of far servers
STALL_SECONDS: Final = 60.0  # without a byte moving, before a transfer is given up
READ_RESUMES: Final = 5  # times that a transfer that broke off is taken up again
RESUME_SECONDS: Final = 0.25  # before the second of them; each waits so much longer than the last
TRANSFER_SECONDS: Final = 86_400.0  # one COPY or delivery, however slow
CHUNK_BYTES: Final = 65_536  # read or written in one go
LIST_ENTRIES: Final = 20_000  # of one folder; the rest is left out and marked L
LIST_LINES: Final = 40_000  # of one FTP listing that are read, entries or not
LIST_BYTES: Final = 16 << 20  # one listing as it arrives
LIST_PIECE_BYTES: Final = 8_192  # of an FTP or WebDAV listing, read in one go: a millisecond or two
ENTRY_BYTES: Final = 4_096  # one line of a listing, or one name
READ_WINDOW_BYTES: Final = 1 << 20  # fetched ahead for a client that pages through a document
READ_PAGE_BYTES: Final = 5 << 20  # text of one READ page; 99,999 records of ihex or of 40 columns are fewer
DOCUMENT_BYTES: Final = 1 << 53  # the highest offset or count that READ takes: exact in any number type
SHORT_LISTINGS: Final = 8  # folders whose names as shown, short ones too, one connection remembers
SHORT_NAMES: Final = 20_000  # entries of them all, oldest folder out first
BEGUN: Final = 8  # changes that went on without one client and whose end WHY has not told it yet
TEXT_BYTES: Final = 8 << 20  # one document that is shown as text
TEXT_LINES: Final = 200_000  # of it; the rest is left out and marked L
TEXT_ELEMENTS: Final = 100_000  # of an HTML page that are walked through; the rest is left out likewise
TEXT_LINKS: Final = 10_000  # numbered in one text
TEXT_LINK_CHARACTERS: Final = 2_000  # one of them; a longer one gets no number
TEXT_TABLE_COLUMNS: Final = 32  # of one table; cells beyond have their text, but no column
TEXT_TABLE_CELLS: Final = 50_000  # of one table in columns; of a larger one each row is a paragraph
DETECT_BYTES: Final = 65_536  # of a document from which its encoding is guessed
DECODE_BYTES: Final = 65_536  # decoded or looked through in one go, which other threads wait for
SPELL_CHARACTERS: Final = 16_384  # of one line, spelled in one go
JOBS: Final = 64  # changes under way before no further transfer is begun
CHANGED_DOCUMENTS: Final = 10_000  # whose STOREs by this gateway are counted, so that no two cross
JOBS_PER_ORIGIN: Final = 16  # of them at one far server, so that a stalled one leaves room for others
TRANSFERS_PER_ORIGIN: Final = 2  # of them that move bytes; each may take two of its logins
TIDY_SECONDS: Final = 3.0  # kept back from a change's time at most, to look again and tidy up
DAV_VALUE_BYTES: Final = 262_144  # one tag or value of a PROPFIND's answer
DAV_ELEMENTS: Final = 10_000  # XML elements about one entry in it
DAV_SERVERS: Final = 1_000  # WebDAV servers of which it is remembered how they read names
LOGINS_PER_ORIGIN: Final = 4  # control connections to one FTP server; many servers allow few
LOGIN_IDLE_SECONDS: Final = 30.0  # before an unused one is closed
FAR_DIGEST_BYTES: Final = 256 << 20  # a longer document's digest would keep an FTP server busy for seconds
LOGIN_PROBE_SECONDS: Final = 5.0  # for the first reply on a kept one, before it counts as dead
LOGIN_PAUSE_SECONDS: Final = 0.1  # for a server that allows few to notice that one was closed
LOGIN_CLEAN_SECONDS: Final = 5.0  # to erase what a broken upload left beside its target
DISK_THREADS: Final = 8  # that read and write the folders of `file` places
SCAN_SECONDS: Final = 0.5  # that the listing of another folder waits for one that does not get on
DISK_RESERVE_BYTES: Final = 16 << 20  # of the disk of one, left free: that much at most,
DISK_RESERVE_PART: Final = 64  # and at most one part in so many, so that a small disk can be filled

# The spool
SPOOL_BYTES: Final = 1 << 30  # all transfers on disk together
SPOOL_JOBS: Final = 1_000  # of them at one time
SPOOL_RESERVE_BYTES: Final = 16 << 20  # of the disk, left free; at most DISK_RESERVE_PART of it
STAGE_BYTES: Final = 65_536  # data lines gathered before they go to disk

# Selection and numbers
DEPTH: Final = 200  # nesting of a JSON or XML document
DIGITS: Final = 1_000  # digits of one number, written out
SPELLINGS: Final = 16_384  # characters whose spelling one charset's table remembers
DATE_CHARACTERS: Final = 100  # the longest text that is tried as a date
PREPARED_PLANS: Final = 512  # pairs of a plan and a style whose fields are kept ready
MATCHES: Final = 200_000  # nodes that one path may select from one document
VISITS: Final = 5_000_000  # nodes that one path may look at
ANSWER_VISITS: Final = 20_000_000  # the same, all paths of one answer on all its rows
BRIEF_VISITS: Final = 20_000  # of them while others wait: a few milliseconds; beyond is done beside them
BRIEF_STEPS: Final = 20_000  # the same in steps of XPaths
WORK_SECONDS: Final = 10.0  # for picking and laying out one answer beside the others, before that is killed
WORK_START_SECONDS: Final = 60.0  # for such a process to start, on a small computer that is busy
WORK_IDLE_SECONDS: Final = 300.0  # before a process that does such work and has none is ended
WORK_MEMORY_BYTES: Final = 2 << 30  # of such a process
ROWS: Final = 200_000  # rows of one document
PATH_CHARACTERS: Final = 2_000  # one JSONPath or XPath
PATTERN_SECONDS: Final = 0.25  # one regular expression of match() or search() on one value
PATTERN_SLOW: Final = 8  # values on which the patterns of one selection may need as long as that
PATTERN_CHARACTERS: Final = 256  # one regular expression; preparing a long one costs its length cubed
PATTERN_SIZE: Final = 2_000  # the same with its repetitions written out, as compiling does
PATTERN_VISITS: Final = 25  # what one use of a pattern counts for, in nodes looked at
PATH_NESTING: Final = 50  # filters, parentheses and calls inside one another, which parsing recurses into
LIBRARY_NODES: Final = 10_000  # in one array or object, before the JSONPath library takes too much memory
MARKUP_ELEMENTS: Final = 500_000  # of one XML or HTML document: about 250 MB of memory
MARKUP_STEPS: Final = 8_000_000  # nodes that all XPaths of one answer may look at: two to four seconds
MARKUP_ATTRIBUTES: Final = 1_000_000  # of one XML document, at 270 bytes of memory each
HTML_CHARACTERS: Final = 4 << 20  # one HTML page, in which an attribute takes as little as two
MARKUP_CHARACTERS: Final = 64 << 20  # text of all values of one answer: each row may ask for all there is
NAMESPACE_CHARACTERS: Final = 2_000  # one namespace name, which comes with the name of every element in it
CSV_LOOK_CHARACTERS: Final = 65_536  # how far the first line of a CSV is looked at for its separator

# The document cache (RFC 9111)
CACHE_BYTES: Final = 64 << 20  # kept copies in memory, oldest used out first
COPY_BYTES: Final = 1_024  # what one kept copy costs in memory beside its body
FLIGHT_SECONDS: Final = 60.0  # one shared fetch lives at least this long while somebody waits for it
STALE_MARGIN_SECONDS: Final = 1.0  # before time is up, when a stale copy is served instead of waiting on
FAILURE_PAUSE_SECONDS: Final = 5.0  # a far server that failed is left alone while a stale copy serves
RETRY_HOLD_SECONDS: Final = 3_600.0  # a far server's own wish to be left alone is kept up to here
PAUSES: Final = 10_000  # documents whose far server's failure is remembered, oldest out first
ABSENT_KEYS: Final = 10_000  # documents known not to be on disk, oldest out first
ABSENT_SECONDS: Final = 60.0  # for which that is believed
CLOCK_SLACK_SECONDS: Final = 5.0  # a clock set back further makes the age of a copy unknown

# The cache's store on disk
STORE_BYTES: Final = 256 << 20  # all copies, each counted in whole pages, oldest out first
STORE_PAGE_BYTES: Final = 4_096  # what a copy's size is rounded up to
STORE_JOURNAL_BYTES: Final = 4 << 20  # what SQLite's write-ahead log shrinks back to
STORE_BACKLOG_BYTES: Final = 64 << 20  # bodies waiting to be written before further ones are not
STORE_LOCK_SECONDS: Final = 1.0  # for another process that holds the file
STORE_LOAD_SECONDS: Final = 2.0  # for one copy to be read before the disk counts as stuck
STORE_PAUSE_SECONDS: Final = 10.0  # without the disk after it failed
STORE_CLOSE_SECONDS: Final = 10.0  # for writes still waiting when the service stops
STORE_DOUBTS: Final = 10_000  # rows known to be out of date while the disk fails; then all are doubted

# Logs
LOG_CHARACTERS: Final = 8_192  # one value of one line; longer text is cut
LOG_TRACE_CHARACTERS: Final = 32_768  # a traceback or stack in one line
LOG_BASE64_BYTES: Final = 4  # shorter secrets leave no recognisable run of base64
LOG_WORD: Final = 4  # shorter secrets are hidden only where they stand alone

# Clients of the service
WRITE_BUFFER_BYTES: Final = 2_048  # unsent bytes at which a reply waits for its reader
SOCKET_SEND_BYTES: Final = 4_096  # the kernel's send buffer for one client
FAST_BYTES: Final = 262_144  # sent to a client before it is known how quickly it reads: TCP may hold as many
FAST_BYTES_PER_SECOND: Final = 262_144  # at which a client gets larger buffers; no serial line is near it
FAST_BUFFER_BYTES: Final = 262_144  # those buffers, ours and the kernel's
HOT_ANSWERS: Final = 2_000  # laid-out answers kept ready
TURN_SECONDS: Final = 0.005  # of the loop's time for one client before the others have theirs
TICK_SECONDS: Final = 0.001  # between looks at who is sent to at a pace, as long as few are
TICK_MOST_SECONDS: Final = 0.05  # the same, however many are
TICK_LATE_SECONDS: Final = 0.1  # that bytes may usually come late and still leave together
TICK_SHARE: Final = 0.25  # of the loop's time that those looks may take before they become rarer
TICK_TURN_SECONDS: Final = 0.002  # of one look at all of them before the others have their turn
METERED_BYTES: Final = 512  # handed to the socket at a time for a client that may ask to wait
TURNED_AWAY: Final = 100  # clients told that the gateway is full that may still be hanging up
SPARE_DESCRIPTORS: Final = 256  # beside one for each client: far servers, store, logs
SHEETS_BYTES: Final = 32 << 20  # laid-out answers kept ready, in characters of their records
SHEET_BYTES: Final = 1 << 20  # of one of them; a longer one is laid out again each time
LAYOUTS: Final = 2  # large documents that are laid out at one time, beside the loop
INLINE_BYTES: Final = 16_384  # a document that is laid out at once, without a thread
BACKLOG: Final = 128  # connections that the kernel queues for a listener
KEEPALIVE_SECONDS: Final = 600  # of silence before TCP asks whether a client is still there
LINGER_SECONDS: Final = 2.0  # how long a client that was told goodbye may take to hang up
ANSWER_MARGIN_SECONDS: Final = 0.25  # kept back from `wait`, so that the reply itself is in time
STOP_MARGIN_SECONDS: Final = 2.0  # beyond `wait`, before a stopping gateway cuts lines

# The demo site
DEMO_BODY_BYTES: Final = 65_536  # one posted body
DEMO_ENTRIES: Final = 100  # entries of the score table, and of the guest book
DEMO_NAME: Final = 12  # characters of a player's name, as the table's column is wide
DEMO_POINTS: Final = 999_999_999  # the highest score that can be posted
DEMO_IDLE_SECONDS: Final = 60.0  # a kept connection that says nothing this long is closed

# The catalogue (CONTRACT section 4)
CATALOGUE_DEPTH: Final = 50  # lists and tables inside one another in the file; no key needs more than six
SYNTAX_MISTAKES: Final = 20  # TOML faults of one file before the rest of it is left unread
NAME_CHARACTERS: Final = 12  # what LAYOUT, SOURCES and WHY have room for
HOST_CHOICES: Final = 200  # hosts that the choices of one source can make and that are checked beforehand
DECODINGS: Final = 4  # times that a server may decode one name of a ref, and it still leads nowhere
FACTOR_DIGITS: Final = 30  # size of `scale` and `offset`: enough for any unit, too few to blow a number up

# Walks that record a place
WALK_DEPTH: Final = 8  # folders inside one another
WALK_DOCUMENTS: Final = 1_000  # of one place
WALK_BYTES: Final = 100 << 20  # of all documents
WALK_SECONDS: Final = 600.0  # one listing or document
WALK_CHOICES: Final = 100  # requests of one source that the choices of its args make

# Recordings
RECORDED_COOKIES: Final = 10_000  # values that made-up ones stand for, oldest out first
RECORDED_RUN: Final = 65_536  # characters of one run of base64 in a body that are looked at as a whole
RECORDED_TEXT: Final = 2_000  # bytes of a request's body that stand in the TOML file itself
RECORDED_STEM: Final = 60  # characters of one folder's or file's name
RECORDED_URLS: Final = 10_000  # kept as they are compared
RECORDED_FORM: Final = 1 << 20  # bytes of a request's JSON or form that is compared by value
RECORDED_REST_SECONDS: Final = 0.5  # spent on reading, from memory or disk, what a server did not want
RECORDED_COMPLAINT_SECONDS: Final = 60.0  # between two lines of the log about a disk that takes nothing

# Rehearsals
REHEARSAL_PENDING_BYTES: Final = 16 << 20  # of a gateway's, before its connection is read no further
REHEARSAL_SECONDS: Final = 3_600  # that a script may wait for one thing
TRACE_SESSION_BYTES: Final = 64 << 20  # of one session; the rest is left out
TRACE_LINE_BYTES: Final = 65_536  # of one line before its end has come; longer ones are cut in pieces
FAULT_SECONDS: Final = 86_400  # that a fault plan may make an answer late, or tell a client to wait

# Archives of other tools
ARCHIVE_BODY_BYTES: Final = 1 << 30  # of one body, expanded
ARCHIVE_TEXT_BYTES: Final = 64 << 20  # of a recording's TOML text in a WARC file; LIST_BYTES are a third
ARCHIVE_CHUNK_LINE: Final = 4_096  # one line of the chunked transfer coding, with its extensions
ARCHIVE_HAR_BYTES: Final = 256 << 20  # of a HAR file, which is read as a whole

# Streams
STREAM_TEXT: Final = 65_536  # bytes or characters of far text that wait for a client that talks by lines
STREAM_SEND_BYTES: Final = 65_536  # the kernel's send buffer for one far server that is talked to
STREAM_ANSWER_SECONDS: Final = 1.0  # that a client which talks by lines waits for an answer's first bytes
STREAM_QUIET_SECONDS: Final = 0.15  # without a byte, before what has come is taken for the answer
GUARD_SECONDS: Final = 1.0  # of silence before and after +++ that leaves a raw stream
STREAM_CLOSE_SECONDS: Final = 5.0  # for what was sent to be taken, and for a last answer, before a cut
DATAGRAM_BYTES: Final = 65_507  # one message over UDP: what IPv4's length leaves of 65,535
DATAGRAMS_BYTES: Final = 262_144  # of messages not yet received, in the kernel; further ones are lost
TELNET_BLOCK_BYTES: Final = 64  # of what a telnet server says between IAC SB and IAC SE; the rest is dropped
TELNET_CR_SECONDS: Final = 0.25  # for a LF behind a CR; one character takes 0.1 at 110 bits a second
TERMINAL_KIND: Final = 40  # characters of a terminal's name (RFC 1091)

# Members, and what clients have had
LOGIN_TRIES: Final = 5  # wrong secrets for one member from one address, before it is locked out
LOGIN_ADDRESS_TRIES: Final = 30  # wrong ones for all members from one address
LOGIN_MEMBER_TRIES: Final = 100  # wrong ones for one member from everywhere; who was let in before still is
LOGIN_LOCK_SECONDS: Final = 60.0  # the first lock; each wrong secret behind it doubles the next
LOGIN_LOCK_MOST_SECONDS: Final = 3_600.0  # and no lock is longer
LOGIN_FORGET_SECONDS: Final = 86_400.0  # without a wrong one, before the wrong ones are forgotten
LOGIN_DELAY_SECONDS: Final = 1.0  # that a refusal takes at least, known member or not
LOGIN_QUEUE: Final = 8  # logins that wait to be checked; further ones are told to come back
LOGIN_KNOWN: Final = 10_000  # addresses and members whose wrong secrets are remembered, oldest out first
SECRET_CHARACTERS: Final = 200  # of one password; a request is not much longer
ACCOUNTS: Final = 100_000  # members and addresses whose requests are counted, longest silent out first
ACCOUNTS_SAVED_SECONDS: Final = 30.0  # between two times that a day's counts are written down
ACCOUNT_BURST: Final = 10  # requests at once, at least, before a rate holds anybody back

SERVERS_AT_ONCE: Final = 4  # far servers that may take all turns of requests between them, if they hang
LARGE_AT_ONCE: Final = 8  # large documents in memory, from when they arrive to the answer
LARGE_BYTES: Final = 1 << 20  # a document from there on; a part of one that READ fetches is never more

# Running for years
LIVE_SECONDS: Final = 10.0  # for a far server to answer whoever looks whether it does
CLOCK_SECONDS: Final = 120.0  # between our clock and a far server's, before one of them is wrong
TETHER_BYTES: Final = 32 << 20  # of one message between a gateway and the one that follows it: all accounts
PAGE_SECONDS: Final = 2.0  # for the loop to say how it is, and for who asks for that to ask
FOLLOW_SECONDS: Final = 60.0  # for the one that follows to be ready

# Serial devices
DEVICE_RETRY_SECONDS: Final = 1.0  # between looks for a device that is not there
DEVICE_STEADY_SECONDS: Final = 1.0  # that it is there before it counts as back
DEVICE_REST_SECONDS: Final = 1.0  # from one session's beginning to the next one's, at least
DEVICE_CARRIER_SECONDS: Final = 0.1  # between looks at its carrier
DEVICE_DROP_SECONDS: Final = 0.5  # that DTR is down when it hangs up
DEVICE_READ_BYTES: Final = 4_096  # read in one go
DEVICE_AHEAD_SECONDS: Final = 0.3  # of a line's time that is handed to the system ahead
DEVICE_AHEAD_BYTES: Final = 16  # the same, at least: as many as a common UART queues
DEVICE_LOOK_SECONDS: Final = 0.05  # between looks whether it has room again
DEVICE_DRAIN_SECONDS: Final = 2.0  # for the last bytes to leave before it is closed

# Modems
MODEM_LINE_CHARACTERS: Final = 255  # of a command line behind its AT; V.250 asks for 40 at least

# Documents in blocks (XMODEM, YMODEM); times and tries are their descriptions'
BLOCK_ANSWER_SECONDS: Final = 60.0  # a sender waits to be asked, or for the answer to a block
BLOCK_WAIT_SECONDS: Final = 10.0  # a receiver waits for a block to begin, and throws away what is garbled
BLOCK_ASK_SECONDS: Final = 3.0  # between its first requests
BLOCK_BETWEEN_SECONDS: Final = 1.0  # between two bytes of a block; without any, the line is quiet
BLOCK_END_SECONDS: Final = 0.2  # without a byte behind the mark that ends a document
BLOCK_TRIES: Final = 10  # of the same thing again
BLOCK_ASKS: Final = 3  # requests for CRC before one for checksums
BLOCK_SEVEN: Final = 3  # blocks or requests in a row that only bit 7 spoils
BLOCK_LAST_SECONDS: Final = 3.0  # for a receiver that has all documents to ask on, and to answer that mark
BLOCK_LAST_TRIES: Final = 1  # of the mark behind a batch that nobody answers, all of it acknowledged
BLOCK_AHEAD_BYTES: Final = 8_192  # of a document, held by its sender
BLOCK_DOCUMENTS: Final = 1_000  # of one batch
COUNTER_NAME_BYTES: Final = 255  # of a document's name that comes or goes with it; most disks take no more
COUNTER_PAUSE_SECONDS: Final = 1.0  # without a byte behind a transfer, before the client is told how it went

# The pytest plugin
TESTING_STOP_SECONDS: Final = 10.0  # for a gateway or server to start or to end, beside what it waits for
TESTING_REPLY_SECONDS: Final = 5.0  # that a test waits for a reply unless it says otherwise
TESTING_HEAD_BYTES: Final = 65_536  # of a request's header section at a far server that a test plays
TESTING_BODY_BYTES: Final = 64 << 20  # of a request's body there
