#include "app/window.h"

#include "app/key_press.h"
#include "core/thread_role.h"
#include "overlay/overlay.h"

#include <algorithm>
#include <chrono>
#include <utility>

#include <backends/imgui_impl_glfw.h>
#include <backends/imgui_impl_opengl3.h>
#include <epoxy/gl.h>
#include <imgui.h>
#include <stb/stb_image_write.h>
#define GLFW_INCLUDE_NONE
#include <GLFW/glfw3.h>

namespace rankwright::app {

namespace {

constexpr std::chrono::duration<double> kFrameTime{1.0 / 30.0};

std::string& glfw_complaint() {
    static std::string complaint;
    return complaint;
}

void keep_complaint(int /*code*/, const char* words) { glfw_complaint() = words; }

struct Closer {
    void operator()(GLFWwindow* window) const {
        glfwDestroyWindow(window);
        glfwTerminate();
    }
};
using Handle = std::unique_ptr<GLFWwindow, Closer>;

Result<Handle> open_handle(const Window::Options& options) {
    glfwSetErrorCallback(keep_complaint);
    if (glfwInit() == GLFW_FALSE)
        return fail(ErrorKind::device,
                    "No window can be opened: there is no display (" + glfw_complaint() +
                        "). Start it from the desktop, or on this machine with a virtual one: "
                        "xvfb-run -a rankwright …");
    glfwWindowHint(GLFW_CONTEXT_VERSION_MAJOR, 3);
    glfwWindowHint(GLFW_CONTEXT_VERSION_MINOR, 3);
    glfwWindowHint(GLFW_OPENGL_PROFILE, GLFW_OPENGL_CORE_PROFILE);
    glfwWindowHint(GLFW_VISIBLE, options.visible ? GLFW_TRUE : GLFW_FALSE);
    GLFWwindow* window =
        glfwCreateWindow(options.width, options.height, options.title.c_str(), nullptr, nullptr);
    if (window == nullptr) {
        glfwTerminate();
        return fail(ErrorKind::device,
                    "No window can be opened: the graphics driver offers no OpenGL 3.3 (" +
                        glfw_complaint() +
                        "). Install the package libgl1-mesa-dri, or start with "
                        "LIBGL_ALWAYS_SOFTWARE=1 for drawing without a graphics card.");
    }
    return Handle(window);
}

}  // namespace

struct Window::State {
    explicit State(Handle opened) : window(std::move(opened)) {}
    ~State();
    State(const State&) = delete;
    State& operator=(const State&) = delete;

    overlay::Size size() const;
    /// Begins a picture; makes the fonts' texture anew when the window's size asks for it.
    overlay::Size begin();
    void finish();
    void wait_for_turn();

    Handle window;
    std::optional<overlay::Overlay> overlay;  // gone before the context is
    std::optional<overlay::Chooser> chooser;  // takes the presses while it is there
    const overlay::Choices* choices = nullptr;
    std::string trouble;  ///< of shaders or fonts
    double next_frame = 0.0;
};

Window::State::~State() {
    overlay.reset();
    if (ImGui::GetCurrentContext() == nullptr) return;
    ImGui_ImplOpenGL3_Shutdown();
    ImGui_ImplGlfw_Shutdown();
    ImGui::DestroyContext();
}

overlay::Size Window::State::size() const {
    int width = 0;
    int height = 0;
    glfwGetWindowSize(window.get(), &width, &height);
    // Minimised windows report nothing; drawing goes on for the smallest that makes sense.
    return {static_cast<float>(std::max(width, 64)), static_cast<float>(std::max(height, 64))};
}

overlay::Size Window::State::begin() {
    const overlay::Size window_size = size();
    if (overlay->prepare(window_size)) {
        ImGui_ImplOpenGL3_DestroyFontsTexture();
        ImGui_ImplOpenGL3_CreateFontsTexture();
    }
    ImGui_ImplOpenGL3_NewFrame();
    ImGui_ImplGlfw_NewFrame();
    ImGui::NewFrame();
    return {ImGui::GetIO().DisplaySize.x, ImGui::GetIO().DisplaySize.y};
}

void Window::State::finish() {
    ImGui::Render();
    int width = 0;
    int height = 0;
    glfwGetFramebufferSize(window.get(), &width, &height);
    glViewport(0, 0, width, height);
    glClearColor(0.0F, 0.0F, 0.0F, 1.0F);
    glClear(GL_COLOR_BUFFER_BIT);
    ImGui_ImplOpenGL3_RenderDrawData(ImGui::GetDrawData());
    glfwSwapBuffers(window.get());
    wait_for_turn();
}

// Software drivers ignore the swap interval: the pace is kept here. Presses are taken on the way.
void Window::State::wait_for_turn() {
    glfwPollEvents();
    double now = glfwGetTime();
    while (now < next_frame) {
        glfwWaitEventsTimeout(next_frame - now);
        now = glfwGetTime();
    }
    next_frame = now + kFrameTime.count();
}

Window::Window(std::unique_ptr<State> state) : state_(std::move(state)) {}
Window::~Window() = default;

Result<std::unique_ptr<Window>> Window::open(const Options& options) {
    set_thread_role(ThreadRole::window);
    auto handle = open_handle(options);
    if (!handle) return tl::unexpected(handle.error());
    auto state = std::make_unique<State>(std::move(*handle));
    GLFWwindow* glfw = state->window.get();
    glfwMakeContextCurrent(glfw);
    glfwSwapInterval(1);
    glfwSetWindowUserPointer(glfw, state.get());
    // Ours before ImGui's, which calls it on: ImGui loses a press and release within one frame.
    glfwSetKeyCallback(glfw, [](GLFWwindow* window, int key, int scancode, int action, int mods) {
        auto* self = static_cast<State*>(glfwGetWindowUserPointer(window));
        const auto press = key_press(key, scancode, action, mods);
        if (!press) return;
        if (self->chooser)
            self->chooser->press(*press, *self->choices);
        else
            self->overlay->press(*press);
    });

    glfwSetCharCallback(glfw, [](GLFWwindow* window, unsigned code_point) {
        auto* self = static_cast<State*>(glfwGetWindowUserPointer(window));
        overlay::KeyPress typed;
        typed.key = overlay::Key::text;
        typed.text = static_cast<char32_t>(code_point);
        if (self->chooser)
            self->chooser->press(typed, *self->choices);
        else
            self->overlay->press(typed);
    });

    IMGUI_CHECKVERSION();
    ImGui::CreateContext();
    ImGui::GetIO().IniFilename = nullptr;
    state->overlay.emplace();
    ImGui_ImplGlfw_InitForOpenGL(glfw, true);
    if (!ImGui_ImplOpenGL3_Init("#version 330 core"))
        return fail(ErrorKind::device,
                    "The window can't be drawn in: the graphics driver refuses OpenGL 3.3. Start "
                    "with LIBGL_ALWAYS_SOFTWARE=1 for drawing without a graphics card.");
    if (const auto loaded = state->overlay->load_shaders(); !loaded)
        state->trouble = loaded.error().message;
    return std::unique_ptr<Window>(new Window(std::move(state)));
}

bool Window::frame(overlay::Snapshot snapshot, std::vector<visit::Command>& commands) {
    assert_thread(ThreadRole::window);
    State& state = *state_;
    const overlay::Size size = state.begin();
    for (const std::string& words : {state.trouble, state.overlay->fonts().trouble()})
        if (!words.empty()) snapshot.notices.push_back({false, words});
    for (visit::Command& command : state.overlay->draw(snapshot, size))
        commands.push_back(command);
    state.finish();
    if (glfwWindowShouldClose(state.window.get()) == GLFW_FALSE) return true;
    commands.emplace_back(visit::Quit{});
    return false;
}

std::optional<overlay::Choice> Window::choose(overlay::Choices choices, const CareForBook& book) {
    assert_thread(ThreadRole::window);
    using ChooserState = overlay::Chooser::State;
    State& state = *state_;
    state.choices = &choices;
    state.chooser.emplace();
    while (state.chooser->state() == ChooserState::choosing &&
           glfwWindowShouldClose(state.window.get()) == GLFW_FALSE) {
        if (book) choices.book = book(state.chooser->take_asked());
        const overlay::Size size = state.begin();
        state.overlay->draw_chooser(*state.chooser, choices, size);
        state.finish();
    }
    const bool chosen = state.chooser->state() == ChooserState::chosen;
    const overlay::Choice choice = state.chooser->choice();
    state.chooser.reset();
    if (!chosen) return std::nullopt;
    return choice;
}

Result<void> Window::screenshot(const std::filesystem::path& file) {
    assert_thread(ThreadRole::window);
    ImDrawData* drawn = ImGui::GetDrawData();
    if (drawn == nullptr)
        return fail(ErrorKind::bad_input, "Nothing has been drawn yet: no screenshot was saved.");
    int width = 0;
    int height = 0;
    glfwGetFramebufferSize(state_->window.get(), &width, &height);
    // Drawn again off screen: parts of a window that are hidden have no pixels to read.
    GLuint buffer = 0;
    GLuint colour = 0;
    glGenFramebuffers(1, &buffer);
    glGenRenderbuffers(1, &colour);
    glBindFramebuffer(GL_FRAMEBUFFER, buffer);
    glBindRenderbuffer(GL_RENDERBUFFER, colour);
    glRenderbufferStorage(GL_RENDERBUFFER, GL_RGB8, width, height);
    glFramebufferRenderbuffer(GL_FRAMEBUFFER, GL_COLOR_ATTACHMENT0, GL_RENDERBUFFER, colour);
    glViewport(0, 0, width, height);
    glClearColor(0.0F, 0.0F, 0.0F, 1.0F);
    glClear(GL_COLOR_BUFFER_BIT);
    ImGui_ImplOpenGL3_RenderDrawData(drawn);
    std::vector<unsigned char> pixels(static_cast<std::size_t>(width) *
                                      static_cast<std::size_t>(height) * 3U);
    glPixelStorei(GL_PACK_ALIGNMENT, 1);
    glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE, pixels.data());
    glBindFramebuffer(GL_FRAMEBUFFER, 0);
    glDeleteRenderbuffers(1, &colour);
    glDeleteFramebuffers(1, &buffer);
    stbi_flip_vertically_on_write(1);
    if (stbi_write_png(file.c_str(), width, height, 3, pixels.data(), width * 3) == 0)
        return fail(ErrorKind::not_found, "The screenshot couldn't be written to " + file.string() +
                                              ": check that the folder exists and has room.");
    return {};
}

}  // namespace rankwright::app
