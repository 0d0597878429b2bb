#version 330 core
// One rectangle, its corners from the vertex number.
uniform vec4 place;  // left, top, right, bottom in clip space
out vec2 at;         // 0..1 from left to right and from top to bottom

void main() {
    at = vec2(gl_VertexID & 1, gl_VertexID >> 1);
    gl_Position = vec4(mix(place.xy, place.zw, at), 0.0, 1.0);
}
