# The libraries, each from its Debian 12 package.
find_package(PkgConfig REQUIRED)
find_package(Threads REQUIRED)
find_package(OpenGL REQUIRED)
find_package(kissfft CONFIG REQUIRED COMPONENTS SHARED float)
find_package(glfw3 REQUIRED)
find_package(tomlplusplus REQUIRED)
find_package(CLI11 REQUIRED)
find_package(nlohmann_json REQUIRED)
find_package(tl-expected REQUIRED)
pkg_check_modules(PORTAUDIO REQUIRED IMPORTED_TARGET portaudio-2.0)
pkg_check_modules(SNDFILE REQUIRED IMPORTED_TARGET sndfile)
pkg_check_modules(ALSA REQUIRED IMPORTED_TARGET alsa)
pkg_check_modules(EPOXY REQUIRED IMPORTED_TARGET epoxy)
pkg_check_modules(FREETYPE REQUIRED IMPORTED_TARGET freetype2)

# Debian's pkg-config file for Dear ImGui lists its libraries in an order that doesn't link.
find_library(IMGUI_LIBRARY imgui REQUIRED)
find_library(STB_LIBRARY stb REQUIRED)
find_path(IMGUI_INCLUDE imgui.h PATH_SUFFIXES imgui REQUIRED)
add_library(rankwright_imgui INTERFACE)
target_include_directories(rankwright_imgui SYSTEM INTERFACE ${IMGUI_INCLUDE})
target_link_libraries(rankwright_imgui INTERFACE
  ${IMGUI_LIBRARY} ${STB_LIBRARY} PkgConfig::FREETYPE glfw OpenGL::GL ${CMAKE_DL_LIBS})
