#version 330 core
// Beat ribbons: one band per meeting of partials, its width and brightness the envelope.
uniform sampler2D widths;  // a row per ribbon, a column per step since the key went down
uniform int rows;
uniform float columns;     // of the whole chart
uniform float filled;      // columns heard so far
uniform vec3 colour;
in vec2 at;
out vec4 pixel;

const float kThread = 0.05;  // a closed ribbon is still a thread
const float kFull = 0.90;    // an open one leaves a gap to its neighbours

void main() {
    float column = at.x * columns;
    if (column > filled) discard;
    int row = min(int(at.y * float(rows)), rows - 1);
    float across = abs(fract(at.y * float(rows)) * 2.0 - 1.0);

    // Linear between columns, never into those not yet heard.
    float position = clamp(column - 0.5, 0.0, max(filled - 1.0, 0.0));
    int left = int(position);
    int right = min(left + 1, int(max(filled - 1.0, 0.0)));
    float width = mix(texelFetch(widths, ivec2(left, row), 0).r,
                      texelFetch(widths, ivec2(right, row), 0).r, fract(position));

    float half_width = mix(kThread, kFull, width);
    float edge = 2.0 * float(rows) * abs(dFdy(at.y));  // one pixel, in units of half a band
    float cover = 1.0 - smoothstep(half_width - edge, half_width + edge, across);
    float brightness = mix(0.35, 1.0, width);
    pixel = vec4(colour * brightness, cover);
}
