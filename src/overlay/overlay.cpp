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
    std::vector<visit::Command> commands;
    for (const KeyPress& key : std::exchange(presses_, {}))
        take(key, snapshot, commands);

    drawn_.clear();
    ImDrawList& list = *ImGui::GetBackgroundDrawList();
    Canvas canvas(list, fonts_, scale_for(window), drawn_);
    const Layout layout = Layout::of(window);
    canvas.fill(layout.window, kGround);
    if (page_ == Page::help) {
        draw_help(canvas, layout.window, snapshot);
        return commands;
    }
    if (stop_list_) {
        stop_list_->draw(canvas, layout.window, snapshot);
        return commands;
    }
    if (fault_list_) {
        fault_list_->draw(canvas, layout.window, snapshot);
        return commands;
    }
    draw_work(canvas, layout, snapshot);
    if (entry_) entry_->draw(canvas, layout.window);
    if (page_ == Page::quit) draw_quit_question(canvas, layout.window, snapshot);
    return commands;
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
    if (!snapshot.survey) {
        draw_call(canvas, layout.call, snapshot);
        draw_pipe(canvas, layout.pipe, snapshot);
    }
    if (snapshot.survey) {
        draw_survey(canvas, layout, snapshot);
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

void Overlay::take(const KeyPress& key, const Snapshot& snapshot,
                   std::vector<visit::Command>& out) {
    if (entry_) {
        const ValueEntry::Outcome outcome = entry_->press(key);
        if (outcome.command) out.push_back(*outcome.command);
        if (outcome.done) entry_.reset();
        return;
    }
    if (stop_list_) {
        const StopList::Outcome outcome = stop_list_->press(key, snapshot);
        if (outcome.command) out.push_back(*outcome.command);
        if (outcome.done) stop_list_.reset();
        return;
    }
    if (fault_list_) {
        const FaultList::Outcome outcome = fault_list_->press(key);
        if (outcome.command) out.push_back(*outcome.command);
        if (outcome.done) fault_list_.reset();
        return;
    }
    if (page_ != Page::work) {
        if (key.repeat) return;
        const bool over = key.key == Key::character && key.character == 'e';
        if (page_ == Page::quit && over) out.emplace_back(visit::EndVisit{});
        if (page_ == Page::quit && (over || key.key == Key::enter)) out.emplace_back(visit::Quit{});
        page_ = Page::work;
        return;
    }
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
