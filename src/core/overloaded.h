// Lambdas joined into one visitor of a variant.
#pragma once

namespace rankwright {

/// std::visit(Overloaded{[](const A&) {…}, [](const B&) {…}}, variant) calls the one that fits.
template <typename... Fs>
struct Overloaded : Fs... {
    using Fs::operator()...;
};
template <typename... Fs>
Overloaded(Fs...) -> Overloaded<Fs...>;

}  // namespace rankwright
