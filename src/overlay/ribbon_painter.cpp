#include "overlay/ribbon_painter.h"

#include "overlay/theme.h"

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include <epoxy/gl.h>

namespace rankwright::overlay {

namespace {

Result<std::string> read_shader(const char* file) {
    namespace fs = std::filesystem;
    std::error_code none;
    const fs::path program = fs::read_symlink("/proc/self/exe", none);
    const fs::path installed = program.parent_path() / "../share/rankwright/shaders";
    for (const fs::path& folder : {installed, fs::path(RANKWRIGHT_SHADERS)}) {
        std::ifstream in(folder / file);
        if (!in) continue;
        std::stringstream text;
        text << in.rdbuf();
        return text.str();
    }
    return fail(ErrorKind::not_found,
                std::string("The beat ribbons can't be drawn: ") + file + " was found neither in " +
                    installed.lexically_normal().string() + " nor in " + RANKWRIGHT_SHADERS +
                    ". Install the program again, or build it here.");
}

Result<GLuint> compile(GLenum stage, const char* file) {
    const auto text = read_shader(file);
    if (!text) return tl::unexpected(text.error());
    const GLuint shader = glCreateShader(stage);
    const char* source = text->c_str();
    glShaderSource(shader, 1, &source, nullptr);
    glCompileShader(shader);
    GLint compiled = 0;
    glGetShaderiv(shader, GL_COMPILE_STATUS, &compiled);
    if (compiled != 0) return shader;
    std::array<char, 512> log{};
    glGetShaderInfoLog(shader, log.size(), nullptr, log.data());
    glDeleteShader(shader);
    return fail(ErrorKind::device, std::string("The beat ribbons can't be drawn: the graphics "
                                               "driver refuses ") +
                                       file + ": " + log.data());
}

// What the ribbons change of OpenGL's state comes back as it was.
class KeptState {
  public:
    KeptState() {
        glGetIntegerv(GL_CURRENT_PROGRAM, &program_);
        glGetIntegerv(GL_VERTEX_ARRAY_BINDING, &vertices_);
        glGetIntegerv(GL_ACTIVE_TEXTURE, &unit_);
        glActiveTexture(GL_TEXTURE0);
        glGetIntegerv(GL_TEXTURE_BINDING_2D, &texture_);
        glGetIntegerv(GL_SAMPLER_BINDING, &sampler_);
        glGetIntegerv(GL_UNPACK_ALIGNMENT, &alignment_);
        scissor_ = glIsEnabled(GL_SCISSOR_TEST);
    }
    ~KeptState() {
        glUseProgram(static_cast<GLuint>(program_));
        glBindVertexArray(static_cast<GLuint>(vertices_));
        glBindTexture(GL_TEXTURE_2D, static_cast<GLuint>(texture_));
        glBindSampler(0, static_cast<GLuint>(sampler_));
        glActiveTexture(static_cast<GLenum>(unit_));
        glPixelStorei(GL_UNPACK_ALIGNMENT, alignment_);
        if (scissor_ != 0) glEnable(GL_SCISSOR_TEST);
    }
    KeptState(const KeptState&) = delete;
    KeptState& operator=(const KeptState&) = delete;

  private:
    GLint program_ = 0;
    GLint vertices_ = 0;
    GLint unit_ = 0;
    GLint texture_ = 0;
    GLint sampler_ = 0;
    GLint alignment_ = 0;
    GLboolean scissor_ = 0;
};

}  // namespace

RibbonPainter::~RibbonPainter() {
    if (program_ == 0) return;
    glDeleteProgram(program_);
    glDeleteVertexArrays(1, &vertices_);
    glDeleteTextures(1, &texture_);
}

Result<void> RibbonPainter::load() {
    const auto vertex = compile(GL_VERTEX_SHADER, "ribbon.vert");
    if (!vertex) return tl::unexpected(vertex.error());
    const auto fragment = compile(GL_FRAGMENT_SHADER, "ribbon.frag");
    if (!fragment) {
        glDeleteShader(*vertex);
        return tl::unexpected(fragment.error());
    }
    const GLuint program = glCreateProgram();
    glAttachShader(program, *vertex);
    glAttachShader(program, *fragment);
    glLinkProgram(program);
    glDeleteShader(*vertex);
    glDeleteShader(*fragment);
    GLint linked = 0;
    glGetProgramiv(program, GL_LINK_STATUS, &linked);
    if (linked == 0) {
        glDeleteProgram(program);
        return fail(ErrorKind::device,
                    "The beat ribbons can't be drawn: the graphics driver can't link the shaders. "
                    "A newer driver may help; all else works.");
    }
    program_ = program;
    glGenVertexArrays(1, &vertices_);
    glGenTextures(1, &texture_);
    return {};
}

void RibbonPainter::add(ImDrawList& list, const Rect& pixels, const std::vector<Ribbon>& ribbons,
                        int columns) {
    pixels_ = pixels;
    rows_ = static_cast<int>(ribbons.size());
    columns_ = std::max(1, columns);
    filled_ = 0;
    widths_.assign(static_cast<std::size_t>(rows_) * static_cast<std::size_t>(columns_), 0.0F);
    for (std::size_t row = 0; row < ribbons.size(); ++row) {
        const std::vector<float>& width = ribbons[row].width;
        const std::size_t count = std::min(width.size(), static_cast<std::size_t>(columns_));
        std::copy_n(width.begin(), count,
                    widths_.begin() + static_cast<std::ptrdiff_t>(row) * columns_);
        filled_ = std::max(filled_, static_cast<int>(count));
    }
    if (rows_ == 0 || filled_ == 0) return;
    list.AddCallback(&RibbonPainter::draw_callback, this);
    list.AddCallback(ImDrawCallback_ResetRenderState, nullptr);
}

void RibbonPainter::draw_callback(const ImDrawList* /*list*/, const ImDrawCmd* command) {
    static_cast<const RibbonPainter*>(command->UserCallbackData)->draw();
}

void RibbonPainter::upload() const {
    glPixelStorei(GL_UNPACK_ALIGNMENT, 4);
    glTexImage2D(GL_TEXTURE_2D, 0, GL_R32F, columns_, rows_, 0, GL_RED, GL_FLOAT, widths_.data());
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_NEAREST);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MAG_FILTER, GL_NEAREST);
}

void RibbonPainter::draw() const {
    if (program_ == 0) return;
    const KeptState kept;
    const ImVec2 window = ImGui::GetDrawData()->DisplaySize;
    const auto across = [&](float x) { return 2.0F * x / window.x - 1.0F; };
    const auto up = [&](float y) { return 1.0F - 2.0F * y / window.y; };
    glUseProgram(program_);
    glBindVertexArray(vertices_);
    glBindTexture(GL_TEXTURE_2D, texture_);
    glBindSampler(0, 0);
    glDisable(GL_SCISSOR_TEST);
    upload();
    const auto uniform = [&](const char* name) { return glGetUniformLocation(program_, name); };
    glUniform4f(uniform("place"), across(pixels_.left), up(pixels_.top), across(pixels_.right),
                up(pixels_.bottom));
    glUniform1i(uniform("widths"), 0);
    glUniform1i(uniform("rows"), rows_);
    glUniform1f(uniform("columns"), static_cast<float>(columns_));
    glUniform1f(uniform("filled"), static_cast<float>(filled_));
    const ImVec4 pale = ImGui::ColorConvertU32ToFloat4(kPale);
    glUniform3f(uniform("colour"), pale.x, pale.y, pale.z);
    glDrawArrays(GL_TRIANGLE_STRIP, 0, 4);
}

}  // namespace rankwright::overlay
