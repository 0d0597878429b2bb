#include "overlay/overlay.h"

#include "overlay/panels.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::overlay {

namespace {

int last_key(const Snapshot& snapshot) {
    int last = std::max(1, snapshot.key);
    for (const ChestPipe& pipe : snapshot.chest)
        last = std::max(last, pipe.key);
    return last;
}

bool is_digit(char letter) { return letter >= '0' && letter <= '9'; }

}  // namespace

Millimetres hand_step(const Snapshot& snapshot, bool far) {
    constexpr double kFarOverFine = 10.0;
    // A reed's wire frees far less than its tongue is long.
    constexpr Millimetres kWireStep{0.01};
    Millimetres fine{0.1};
    if (snapshot.kind >= organ::PipeKind::reed_full &&
        snapshot.device == organ::TuningDevice::reed_wire) {
        fine = kWireStep;
    } else if (snapshot.target && snapshot.target->value() > 0.0) {
        // An open pipe is half a wavelength long; 0.4 cent of it.
        constexpr double kHalfSpeedOfSound_mm = 171600.0;
        const double share = std::exp2(0.4 / 1200.0) - 1.0;
        fine = Millimetres{kHalfSpeedOfSound_mm / snapshot.target->value() * share};
    }
    return far ? fine * kFarOverFine : fine;
}

bool Overlay::prepare(Size window) {
    // While a window edge is dragged, letters scaled by a few percent will do.
    constexpr float kWorthRebuilding = 0.06F;
    const float scale = scale_for(window);
    if (fonts_scale_ > 0.0F && std::abs(scale / fonts_scale_ - 1.0F) < kWorthRebuilding)
        return false;
    fonts_.load(scale);
    fonts_scale_ = scale;
    return true;
}

std::vector<visit::Command> Overlay::draw(const Snapshot& snapshot, Size window) {
    if (snapshot.ask_checks && !checks_asked_) checks_.emplace();
    checks_asked_ = checks_asked_ || snapshot.ask_checks;
    std::vector<visit::Command> commands;
    for (const KeyPress& key : std::exchange(presses_, {}))
        take(key, snapshot, commands);

    drawn_.clear();
    ImDrawList& list = *ImGui::GetBackgroundDrawList();
    Canvas canvas(list, fonts_, scale_for(window), drawn_);
    const Layout layout = Layout::of(window);
    canvas.fill(layout.window, kGround);
    if (!draw_page(canvas, layout, snapshot)) {
        draw_work(canvas, layout, snapshot);
        if (entry_) entry_->draw(canvas, layout.window);
        if (page_ == Page::quit) draw_quit_question(canvas, layout.window, snapshot, leaving_);
    }
    if (!snapshot.page_written.empty()) {
        const Rect plate{layout.window.left + 24, layout.window.top + 6, layout.window.right - 24,
                         layout.window.top + 110};
        canvas.fill(plate, kPlate, 10);
        canvas.outline(plate, kPale, 3, 10);
        canvas.paragraph({plate.left + 24, plate.top + 6, plate.right - 24, plate.bottom - 4},
                         {kLarge, kPale, true}, kSmall, snapshot.page_written);
    }
    return commands;
}

// What takes the whole window. False: the work is shown.
bool Overlay::draw_page(Canvas& canvas, const Layout& layout, const Snapshot& snapshot) {
    if (page_ == Page::help)
        draw_help(canvas, layout.window, snapshot);
    else if (page_ == Page::calls)
        draw_call_list(canvas, layout.window, snapshot);
    else if (stop_list_)
        stop_list_->draw(canvas, layout.window, snapshot);
    else if (fault_list_)
        fault_list_->draw(canvas, layout.window, snapshot);
    else if (work_list_)
        work_list_->draw(canvas, layout.window, snapshot);
    else if (book_page_)
        book_page_->draw(canvas, layout.window, snapshot.tuning_book);
    else if (checks_)
        checks_->draw(canvas, layout.window);
    else
        return false;
    return true;
}

void Overlay::draw_chooser(const Chooser& chooser, const Choices& choices, Size window) {
    drawn_.clear();
    Canvas canvas(*ImGui::GetBackgroundDrawList(), fonts_, scale_for(window), drawn_);
    chooser.draw(canvas, Layout::of(window).window, choices);
}

void Overlay::draw_work(Canvas& canvas, const Layout& layout, const Snapshot& snapshot) {
    draw_header(canvas, layout.header, snapshot);
    const Notice* urgent = urgent_notice(snapshot);
    const bool nothing_else =
        !snapshot.pitch && snapshot.stage == Stage::waiting && !snapshot.survey;
    const bool ended = snapshot.end && !snapshot.survey;
    if (!snapshot.survey && !ended) {
        draw_call(canvas, layout.call, snapshot);
        draw_pipe(canvas, layout.pipe, snapshot);
    }
    if (snapshot.survey) {
        draw_survey(canvas, layout, snapshot);
    } else if (ended) {
        draw_end(canvas, {layout.pipe.left, layout.call.top, layout.call.right, layout.call.bottom},
                 *snapshot.end);
    } else if (urgent != nullptr && nothing_else) {
        draw_trouble(
            canvas,
            {layout.advice.left, layout.figures.top, layout.figures.right, layout.notices.bottom},
            *urgent);
    } else {
        draw_advice(canvas, layout.advice, snapshot);
        draw_figures(canvas, layout.figures, snapshot);
        // Without a notice the ribbons have its room.
        Rect ribbons = layout.ribbons;
        if (!draw_notice(canvas, layout.notices, snapshot)) ribbons.bottom = layout.notices.bottom;
        draw_ribbons(canvas, ribbons, snapshot, painter_);
    }
    if (urgent != nullptr && !nothing_else) {
        // A figure stands all the same: the trouble takes the place of chest and hints.
        draw_trouble(canvas,
                     {layout.chest.left, layout.chest.top, layout.hints.right, layout.hints.bottom},
                     *urgent);
        return;
    }
    if (snapshot.mixture)
        draw_mixture_key(canvas, layout.chest, snapshot);
    else
        draw_chest(canvas, layout.chest, snapshot);
    draw_hints(canvas, layout.hints, snapshot);
}

// Whether the press was for the page that is open.
bool Overlay::take_by_page(const KeyPress& key, const Snapshot& snapshot,
                           std::vector<visit::Command>& out) {
    const auto taken = [&](auto& page, const auto& outcome) {
        if (outcome.command) out.push_back(*outcome.command);
        if (outcome.done) page.reset();
        return true;
    };
    if (checks_) {
        const ChecksPage::Outcome outcome = checks_->press(key);
        taken(checks_, outcome);
        return !outcome.pass_on;
    }
    if (work_list_) return taken(work_list_, work_list_->press(key, snapshot));
    if (book_page_) return taken(book_page_, book_page_->press(key, snapshot.tuning_book));
    if (key.key == Key::text) return true;
    if (entry_) return taken(entry_, entry_->press(key));
    if (stop_list_) return taken(stop_list_, stop_list_->press(key, snapshot));
    if (fault_list_) return taken(fault_list_, fault_list_->press(key, snapshot));
    if (page_ == Page::work) return false;
    if (key.repeat) return true;
    if (page_ == Page::calls) {
        const bool goes_on = key.key == Key::page_down || key.key == Key::page_up ||
                             (key.key == Key::character && key.character == ' ');
        if (!goes_on) page_ = Page::work;
        return !goes_on;
    }
    if (page_ == Page::quit && leaving_.press(key)) return true;
    const bool over = key.key == Key::character && key.character == 'e';
    if (page_ == Page::quit && (over || key.key == Key::enter)) {
        if (auto note = leaving_.note("before leaving")) out.push_back(std::move(*note));
        if (over) out.emplace_back(visit::EndVisit{});
        out.emplace_back(visit::Quit{});
    }
    page_ = Page::work;
    return true;
}

void Overlay::take(const KeyPress& key, const Snapshot& snapshot,
                   std::vector<visit::Command>& out) {
    if (take_by_page(key, snapshot, out)) return;
    const bool hand = snapshot.simulated && (key.key == Key::up || key.key == Key::down);
    if (hand) {
        const Millimetres step = hand_step(snapshot, key.shift);
        out.emplace_back(visit::MoveDevice{key.key == Key::up ? step : -step});
        return;
    }
    if (key.repeat) return;
    switch (key.key) {
        case Key::page_down:
        case Key::right:
            out.emplace_back(visit::GoNext{});
            break;
        case Key::page_up:
        case Key::left:
            out.emplace_back(visit::GoBack{});
            break;
        case Key::escape:
            page_ = Page::quit;
            break;
        case Key::character:
            take_character(key, snapshot, out);
            break;
        default:
            break;
    }
}

void Overlay::take_character(const KeyPress& key, const Snapshot& snapshot,
                             std::vector<visit::Command>& out) {
    switch (key.character) {
        case ' ':
            out.emplace_back(visit::GoNext{});
            return;
        case '.':  // a presenter's key for a black screen
            out.emplace_back(visit::GoToKey{snapshot.key});
            return;
        case 't':
            entry_.emplace(ValueEntry::What::temperature, 0);
            return;
        case 'p':
            entry_.emplace(ValueEntry::What::pitch, 0);
            return;
        case 'm':
            out.emplace_back(visit::TakePitchOfDay{});
            return;
        case 'a':
            if (!snapshot.reference.empty() || snapshot.alone) out.emplace_back(visit::HearAlone{});
            return;
        case 'w':
            if (snapshot.mixture) out.emplace_back(visit::HearWhole{});
            return;
        case 'c': {
            constexpr Decibels kCareless{-25.0};
            if (snapshot.mixture && snapshot.simulated)
                out.emplace_back(
                    visit::MoveMutes{key.shift ? std::optional{kCareless} : std::nullopt});
            return;
        }
        case 'l':
            work_list_.emplace(snapshot);
            return;
        case 'b':
            book_page_.emplace();
            return;
        case 'n':
            page_ = Page::calls;
            return;
        case 'k':
            checks_.emplace();
            return;
        case 'r':
            out.emplace_back(visit::WritePage{});
            return;
        case 's':
            if (!snapshot.stops.empty()) stop_list_.emplace(snapshot);
            return;
        case 'f':
            fault_list_.emplace();
            return;
        case 'x':
            out.emplace_back(visit::MarkOutOfReach{});
            return;
        case 'u':
            out.emplace_back(visit::Undo{});
            return;
        case 'h':
            page_ = Page::help;
            return;
        case 'q':
            page_ = Page::quit;
            return;
        case 'g':
            entry_.emplace(ValueEntry::What::key, last_key(snapshot));
            return;
        default:
            break;
    }
    if (!is_digit(key.character)) return;
    entry_.emplace(ValueEntry::What::key, last_key(snapshot));
    entry_->press(key);
}

}  // namespace rankwright::overlay
