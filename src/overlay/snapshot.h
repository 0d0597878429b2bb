// Everything the window shows at one moment, as plain values. Made on the listening thread.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"
#include "organ/movement.h"
#include "organ/pipe.h"
#include "overlay/book_page.h"
#include "tuning/stage.h"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::overlay {

using tuning::Stage;

/// How a pipe beats with its reference.
struct Beat {
    Hertz rate;                  ///< positive = sharp of the pure interval
    Hertz target;                ///< how it should beat: 0 but for celestes and the like
    Hertz uncertainty;           ///< standard, of the rate
    std::optional<Hertz> under;  ///< set when only this is known of the rate
    Hertz off() const { return rate - target; }
};

/// One meeting of partials: envelope over time since the key went down.
struct Ribbon {
    std::string label;         ///< "1:1"; "1:2": the reference's first and the pipe's second
    std::vector<float> width;  ///< 0..1, one value every Snapshot::ribbon_step
};

/// A pipe as it stands on the chest, left to right.
struct ChestPipe {
    int key = 1;
    float height = 0.5F;             ///< 0..1, relative to the tallest
    std::string note;                ///< short: "G", "F♯"
    std::optional<Cents> deviation;  ///< last reading from target
    std::optional<Cents> last_time;  ///< as an earlier visit left it, where that is to be seen
    bool kept = false;               ///< done, and in the tuning book
    bool again = false;              ///< done, but to be heard once more when it has cooled
    bool out_of_reach = false;
    bool faulty = false;
    bool current = false;
    bool starts_side = false;  ///< first pipe of the other side of the chest
};

/// One pipe of a mixture's key.
struct KeyPipe {
    std::string pitch;     ///< "2 2/3′", or "2 2/3′ row 3" where the key has more of them
    std::string feet;      ///< "2 2/3′"
    float height = 1.0F;   ///< 0..1, beside the longest
    bool current = false;  ///< the one in hand
    bool muted = false;    ///< a mute belongs into it now
    bool settled = false;
    bool silent = false;  ///< isn't heard, though nothing should mute it
    /// Heard whole, and it can't be told yet whether it sounds: why, in a few words ("behind 4′").
    std::string untold;
    /// Heard whole, and not known from another of its pitch: "row 2 or 3", both of `feet`.
    std::string either;
    std::optional<Cents> deviation;  ///< last known, from its target
    std::optional<Cents> uncertainty;
    std::optional<Decibels> leak;  ///< muted, and heard: its level beside the loudest
    int suspect = 0;               ///< heard whole: 1 = go there first; 0 = it needs nothing
};

/// The key in hand of a mixture; `Snapshot`'s figures are of the pipe in hand.
struct MixtureKey {
    std::vector<KeyPipe> pipes;  ///< by row
    bool none_muted = false;     ///< the key is heard whole
    bool heard_whole = false;    ///< … and was
    std::string to_tell;         ///< what to do so that the first pipe that can't be told can be
    int mutes_in = 0;
    std::string in_hand;     ///< the pitch of the pipe in hand: "2 2/3′"
    std::string next_pitch;  ///< of the pipe after it; empty at the end
    std::string next_note;   ///< the key of that pipe where it is another one
    std::string instead;     ///< Stage::wrong_key: what sounds, "1 1/3′"; "2′ of tenor D"
    std::string to_mute;     ///< others sound too: these have no mute, "2′ · 1 1/3′"
};

/// A rank that is played through; `Snapshot`'s figures are of the key heard last.
struct SurveyView {
    enum class Stage {
        playing,
        working_out,  ///< the play is over, and all of it is heard once more
        done,
    };
    Stage stage = Stage::playing;
    bool sounding = false;              ///< that key sounds now
    std::optional<Cents> last_time;     ///< how it stood when an earlier visit left it
    int heard = 0;                      ///< of Snapshot::pipe_count
    std::string missing;                ///< keys not heard: "CC♯, DD to EE"
    std::vector<std::string> findings;  ///< short, the whole rank's first
    int proposed = 0;                   ///< done: for the work list
    std::string not_kept;               ///< why readings aren't kept; empty when they are
};

/// A stop that may be taken in hand.
struct StopChoice {
    StopId id;
    std::string division;
    std::string stop;
    bool current = false;
};

/// A pipe of the work list, or the one in hand.
struct ListLine {
    PipeId pipe;
    std::string stop;   ///< "Great · Principal 8′"
    std::string note;   ///< "middle G"
    std::string why;    ///< "5.0 cents sharp: beats 1.5 a second with the ensemble"
    bool to_do = true;  ///< else dropped, out of reach, or not listed
    bool listed = true;
    bool out_of_reach = false;
    bool complaint = false;
};

/// The work list as it is shown.
struct ListPage {
    std::vector<ListLine> lines;       ///< the most audible first
    std::vector<std::size_t> walking;  ///< the same for the feet: indices into `lines`
    std::vector<std::string> remarks;
    int to_do = 0;
    int done = 0;
};

/// Nothing is left to go to, nor to wait for.
struct EndView {
    std::vector<ListLine> left;  ///< pipes that stay as they are: open, out of reach, dead
    int elsewhere = 0;           ///< pipes on the list that this run doesn't go to
};

/// What the helper is to hold.
struct NextCall {
    std::string stops;   ///< "Octave 4′, then Principal 8′ as well"; said where it changes
    std::string key;     ///< "middle G"
    std::string number;  ///< "key 32"
    std::string also;    ///< "and hold tenor C, key 13"; empty as a rule
};

/// Whether the pipe in hand is in the tuning book as it now stands.
enum class Keeping {
    no_book,
    not_yet,  ///< nothing is to be kept of it yet
    held,     ///< kept in memory: the book doesn't have it on disk yet
    again,    ///< on disk, but to be heard again: warm from the hand, or its wire creeps
    kept,     ///< on disk
};

struct Notice {
    bool urgent = false;
    std::string words;
};

struct Snapshot {
    // what is being tuned
    std::string organ;
    std::string stop;        ///< "Great · Principal 8′"
    std::string job;         ///< "to its target", "from Octave 4′, by beats"
    std::string reference;   ///< the stop it is tuned from; empty when to its target
    bool alone = false;      ///< it has a reference, but is heard without it
    std::string note;        ///< "middle G"
    std::string then;        ///< "then A · B · C♯"
    std::string next_note;   ///< "middle A"; when empty, the first of `then` is called next
    std::string also_note;   ///< the reference's key, held besides: "tenor C"
    std::string also_where;  ///< its division, when it is another one
    std::vector<std::string> stops_on;
    int key = 0;
    PipeId pipe;  ///< the one in hand
    int settled_count = 0;
    int open_count = 0;           ///< left before they had settled
    std::optional<Seconds> wait;  ///< nothing to do but let pipes cool, for so long …
    bool wait_for_wire = false;   ///< … or a reed's wire creep
    int again_count = 0;          ///< done, but to be heard once more
    int kept_count = 0;           ///< in the tuning book as they were left
    Keeping keeping = Keeping::no_book;
    std::string book_trouble;         ///< why the book can't be written now; empty: it can
    std::vector<std::string> faults;  ///< of the pipe in hand
    bool out_of_reach = false;        ///< the pipe in hand
    int pipe_count = 0;
    organ::PipeKind kind = organ::PipeKind::open;
    organ::Material material = organ::Material::metal;
    organ::TuningDevice device = organ::TuningDevice::sleeve;

    // the day
    std::optional<Hertz> pitch_of_day;  ///< A
    bool pitch_measured = false;
    std::optional<Celsius> temperature;
    std::optional<double> humidity;  ///< relative, 0 to 1

    // the figures
    Stage stage = Stage::waiting;
    std::string heard_note;  ///< for wrong_key
    std::optional<Hertz> target;
    std::optional<Hertz> pitch;
    std::optional<Cents> deviation;  ///< pitch from target
    std::optional<Cents> uncertainty;
    std::optional<Hertz> beats;  ///< pitch − target
    std::optional<Beat> beat;    ///< with the reference: then the large figure is this
    bool perhaps_both = false;   ///< in Stage::reference: the pipe may sound too, in tune with it
    /// The reference by itself, from its own target.
    std::optional<Cents> reference_deviation;
    /// The A that the reference stands at, while that of the day isn't known.
    std::optional<Hertz> reference_a;
    bool unanswered = false;       ///< a move is asked for, and nothing heard changes
    bool unheard_treble = false;   ///< nothing is heard of a pipe that may stand in a node of the
                                   ///< room: too early to call it dead
    bool pulled_together = false;  ///< the two draw each other: their beat tells nothing
    Seconds heard{0.0};            ///< what the figure rests on
    organ::Movement advice;
    std::string amount;  ///< "about 2 to 3 mm", "about two taps like the last"

    // ribbons
    std::vector<Ribbon> ribbons;
    Seconds ribbon_step{0.02};
    Seconds ribbon_span{8.0};  ///< the chart's width in time

    std::optional<MixtureKey> mixture;  ///< the third job: its key takes the chest's place
    std::optional<SurveyView> survey;   ///< nothing is tuned: the rank is played through

    // the chest
    std::vector<ChestPipe> chest;
    std::string left_side;   ///< "C side"
    std::string right_side;  ///< "C♯ side"

    std::shared_ptr<const ListPage> list;  ///< null where there is none
    std::optional<EndView> end;            ///< in place of the work
    bool only_listed = false;              ///< the run goes from listed pipe to listed pipe
    std::string next_stop;                 ///< the next pipe stands in another stop: its name
    std::vector<NextCall> calls;           ///< the one in hand, and those to come
    bool ask_checks = false;               ///< before the first note of a visit
    BookView tuning_book;
    std::string page_written;       ///< where a page went that was asked for, or why it didn't
    std::vector<StopChoice> stops;  ///< of the instrument, those that have pipes

    // the input
    std::string input_name;
    std::string level_words;  ///< "level good", "too quiet", "clipping: move the microphone away"
    bool level_bad = false;
    std::uint64_t dropped_frames = 0;
    std::uint64_t overruns = 0;
    std::vector<Notice> notices;  ///< most urgent first
    bool simulated = false;       ///< the arrow keys move the simulated device
};

}  // namespace rankwright::overlay
